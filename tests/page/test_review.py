import html.parser
import json
import re
import textwrap
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from obbligato.errors import InputError
from obbligato.page.review import (
    BarView,
    Place,
    ReviewData,
    SectionReply,
    SectionView,
    client_mp3,
    parse_reply,
    reply_text,
    review_html,
)
from obbligato.sound.audio import Audio

BAR_S, BARS = 2.0, 12
ANSWERS = (
    SectionReply("A", "yes"),
    SectionReply("B", "change", "[bar 7, 0:13.0] too busy\n[bar 8, 0:15.0] softer, please"),
    SectionReply("A2", "leave out", 'no "fall" here \\ </script>'),
)
GIVEN: dict[str, Any] = {
    "title": "Paper Boats & <Lanterns>",
    "version": 2,
    "fingerprint": "c0ffee",
    "name": "Åsa Öhman",
    "date": "2026-03-01",
    "answers": ANSWERS,
    "unanswered": ("C",),
}


def tone_mp3(hz: float) -> bytes:
    y = 0.2 * np.sin(2 * np.pi * hz * np.arange(round((1.0 + BAR_S * BARS) * 32000)) / 32000)
    return client_mp3(Audio(np.tile(y, (2, 1)), 32000))


@pytest.fixture(scope="module")
def data() -> ReviewData:
    """Twelve bars of two seconds from 1 s on in three sections; the line plays in the second and the third."""
    sections = ("A", "B", "A2")
    chords = ("Bb6", "Gm7", "Ebmaj7  F7", "Bb/D  Db°7")
    return ReviewData(
        title="Paper Boats & <Lanterns>",
        player="Ida Sommer",
        instrument="flugelhorn",
        version=2,
        fingerprint="c0ffee",
        sections=(SectionView("A", False), SectionView("B", True), SectionView("A2", True)),
        bars=tuple(BarView(i + 1, 1.0 + BAR_S * i, sections[i // 4], chords[i % 4]) for i in range(BARS)),
        line_spans_s=((9.5, 12.25), (13.5, 16.0), (20.0, 24.0)),
        end_s=1.0 + BAR_S * BARS,
        blend_mp3=tone_mp3(330.0),
        guide_mp3=tone_mp3(220.0),
        line_mp3=tone_mp3(440.0),
        sent_on="1 March 2026",
    )


class Tags(html.parser.HTMLParser):
    """Collects every tag with its attributes (an independent parser: Python's own)."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def test_an_answer_reads_back_as_it_was_written() -> None:
    reply = parse_reply(reply_text(**GIVEN))
    assert (reply.title, reply.version, reply.fingerprint) == (GIVEN["title"], 2, "c0ffee")
    assert (reply.name, reply.date, reply.unanswered) == ("Åsa Öhman", "2026-03-01", ("C",))
    assert reply.answers == ANSWERS


def test_places_are_read_from_a_remark() -> None:
    assert parse_reply(reply_text(**GIVEN)).answers[1].places == (
        Place(7, 13.0, "too busy"),
        Place(8, 15.0, "softer, please"),
    )


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("before", ["", "> ", ">> "])
def test_a_mail_program_does_no_harm(before: str, line_end: str) -> None:
    text = "Hello Ida,\nhere it is:\n" + reply_text(**GIVEN) + "\nAll the best"
    mailed = line_end.join(before + line for line in text.splitlines())
    assert parse_reply(mailed).answers == ANSWERS


def test_a_wrapped_mail_keeps_answers_and_words() -> None:
    rows = reply_text(**GIVEN).splitlines()
    wrapped = "\n".join(part for row in rows for part in (textwrap.wrap(row, 60, break_long_words=False) or [""]))
    assert wrapped.count("\n") > len(rows)
    answers = parse_reply(wrapped).answers
    assert [(a.section, a.answer) for a in answers] == [(a.section, a.answer) for a in ANSWERS]
    assert [a.remark.split() for a in answers] == [a.remark.split() for a in ANSWERS]
    assert [len(a.places) for a in answers] == [0, 2, 0]


def test_the_words_come_first_and_say_what_is_open() -> None:
    words = reply_text(**GIVEN).split("-----")[0]
    assert "B: change this\n    [bar 7, 0:13.0] too busy\n" in words
    assert "No answer yet: C. Silence is not approval" in words


def changed(**values: object) -> str:
    text = reply_text(**GIVEN)
    begin, end = text.index("{"), text.rindex("}") + 1
    return text[:begin] + json.dumps({**json.loads(text[begin:end]), **values}) + text[end:]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not the text file"),
        ("Yes, all fine!", "not the text file"),
        ("x" * 2_000_000, "not the text file"),
        (changed(kind="something else"), "not the text file"),
        (changed(format_version=99), "another version"),
        (changed(version="2"), "damaged at the version"),
        (changed(fingerprint=None), "damaged at 'fingerprint'"),
        (changed(answers={}), "damaged at the list of answers"),
        (changed(answers=[{"section": "A", "answer": "maybe", "remark": ""}]), "damaged at the answer"),
        (changed(answers=[{"section": "A", "answer": ["yes"], "remark": ""}]), "damaged at the answer"),
        (changed(answers=[{"section": "A", "answer": "yes", "remark": ""}] * 2), "a section twice"),
        (changed(unanswered=[1]), "damaged at the list of open"),
        (reply_text(**GIVEN).replace('"kind"', "kind"), "damaged at the part below"),
        (reply_text(**GIVEN).split("----- end")[0], "not the text file"),
    ],
)
def test_other_text_is_refused(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        parse_reply(text)


def test_what_comes_from_outside_stays_text(data: ReviewData) -> None:
    nasty = "</script><img src=x onerror=alert(1)><!-- @@DATA@@"
    page = review_html(replace(data, title=nasty, player=nasty, bars=(replace(data.bars[0], chords=nasty),)))
    plain = review_html(replace(data, bars=data.bars[:1]))
    assert [tag for tag, _ in Tags(page).tags] == [tag for tag, _ in Tags(plain).tags]


def test_the_page_needs_nothing_from_elsewhere(data: ReviewData) -> None:
    tags = Tags(review_html(data)).tags
    linking = {"src", "href", "action", "poster", "srcset", "style", "onclick", "onload"}
    assert not [(tag, attrs) for tag, attrs in tags if linking & set(attrs)]
    policy = next(
        str(a["content"]) for t, a in tags if t == "meta" and a.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy


def test_the_same_data_give_the_same_page(data: ReviewData) -> None:
    assert review_html(data) == review_html(data)


def test_four_minutes_of_sound_stay_below_8_mb(data: ReviewData) -> None:
    # A constant bit rate makes size depend on length alone; one sound stands for all three.
    sound = client_mp3(Audio(np.zeros((2, 240 * 32000)), 32000))
    page = review_html(replace(data, blend_mp3=sound, guide_mp3=sound, line_mp3=sound))
    assert len(page.encode()) < 8_000_000


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"sections": (SectionView("A", True),) * 2}, "a name of its own"),
        ({"sections": (SectionView("A", True),)}, "A2, B, which are not listed"),
        ({"bars": ()}, "bars in order"),
        ({"end_s": 20.0}, "before the end"),
    ],
)
def test_a_page_that_cannot_be_right_is_refused(data: ReviewData, wrong: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        replace(data, **wrong)


LOG_STARTS = """
window.started = [];
const start = AudioBufferSourceNode.prototype.start;
AudioBufferSourceNode.prototype.start = function (when, offset) {
  window.started.push({zero: when - offset, offset, duration: this.buffer.duration});
  return start.call(this, when, offset);
};
"""


@pytest.fixture
def page(chromium: Any, data: ReviewData, tmp_path: Path) -> Iterator[Any]:
    """The page opened from disk in a fresh browser profile without a network; script errors fail the test."""
    file = tmp_path / "review.html"
    file.write_text(review_html(data), encoding="utf-8")
    context = chromium.new_context(accept_downloads=True, offline=True)
    context.add_init_script(LOG_STARTS)
    opened = context.new_page()
    errors: list[str] = []
    opened.on("pageerror", lambda error: errors.append(str(error)))
    opened.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    opened.goto(file.as_uri())
    yield opened
    context.close()
    assert errors == []


def until(page: Any, condition: str) -> None:
    """Wait at most 5 s for a condition in the page, whose security policy forbids Playwright's own way of waiting."""
    for _ in range(100):
        if page.evaluate(condition):
            return
        page.wait_for_timeout(50)
    pytest.fail(f"never came true: {condition}")


def bar(page: Any, number: int) -> Any:
    return page.get_by_role("button", name=re.compile(rf"^bar {number},"))


@pytest.mark.browser
def test_a_bar_is_heard_from_its_start_and_the_sounds_share_one_clock(page: Any) -> None:
    bar(page, 5).click()
    until(page, "window.started.length === 1")
    until(page, "parseFloat(document.getElementById('place-clock').textContent.split(':')[1]) > 9.2")
    assert page.evaluate("window.started[0].offset") == 9.0
    assert page.inner_text("#place-bar") == "bar 5, section B"
    page.get_by_text("song alone").click()
    until(page, "window.started.length === 2")
    page.get_by_text("line alone").click()
    until(page, "window.started.length === 3")
    zeros = page.evaluate("window.started.map(s => s.zero)")
    # A sample at 48 kHz lasts 21 microseconds.
    assert max(zeros) - min(zeros) < 1e-5
    durations = page.evaluate("window.started.map(s => s.duration)")
    assert len(set(durations)) == 1
    # The decoder may leave the encoder's padding of up to two frames (2304 samples at 32 kHz).
    assert durations[0] == pytest.approx(25.0, abs=2304 / 32000)


@pytest.mark.browser
def test_keys_play_and_move(page: Any) -> None:
    page.keyboard.press("Space")
    until(page, "window.started.length === 1")
    assert page.inner_text("#play") == "Pause"
    page.keyboard.press("Space")
    assert page.inner_text("#play") == "Play"
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowDown")
    assert page.inner_text("#place-bar") == "bar 7, section B"
    assert page.inner_text("#place-clock") == "0:13.0"
    page.keyboard.press("End")
    page.keyboard.press("ArrowUp")
    assert page.inner_text("#place-bar") == "bar 8, section B"
    page.keyboard.press("2")
    assert page.is_checked("input[value=guide]")
    page.keyboard.press("Enter")
    until(page, "window.started.length === 2")
    assert page.evaluate("window.started[1].offset") == 15.0
    page.fill("#name", "a b")
    assert page.inner_text("#play") == "Pause"


def answer_all(page: Any) -> None:
    page.get_by_role("group", name=re.compile("Section B:")).get_by_text("change this").click()
    bar(page, 7).focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowLeft")
    page.get_by_role("button", name="Add the place: bar 7, 0:13.0").first.click()
    page.keyboard.type("too busy </script>")
    page.get_by_role("group", name=re.compile("Section A2:")).get_by_text("yes").click()


@pytest.mark.browser
def test_the_answer_is_saved_and_read_back(page: Any, data: ReviewData, tmp_path: Path) -> None:
    page.click("#save")
    assert "No section has an answer" in page.inner_text("#said")
    answer_all(page)
    page.click("#save")
    assert "write your name" in page.inner_text("#said")
    page.fill("#name", "Åsa Öhman")
    with page.expect_download() as waiting:
        page.click("#save")
    assert waiting.value.suggested_filename == "answer-Paper-Boats-Lanterns-v2.txt"
    saved = tmp_path / "answer.txt"
    waiting.value.save_as(saved)
    reply = parse_reply(saved.read_text(encoding="utf-8"))
    assert (reply.title, reply.version, reply.fingerprint, reply.name) == (data.title, 2, "c0ffee", "Åsa Öhman")
    assert reply.answers == (
        SectionReply("B", "change", "[bar 7, 0:13.0] too busy </script>"),
        SectionReply("A2", "yes"),
    )
    assert reply.answers[0].places == (Place(7, 13.0, "too busy </script>"),)
    assert reply.unanswered == ()
    # The page and `reply_text` write one format.
    again = reply_text(**{name: getattr(reply, name) for name in GIVEN})
    assert saved.read_text(encoding="utf-8") == again


@pytest.mark.browser
def test_a_remark_is_not_lost_for_want_of_an_answer(page: Any) -> None:
    answer_all(page)
    page.fill("#name", "Åsa")
    page.reload()
    page.evaluate("document.querySelector('input[name=answer-0]:checked').checked = false")
    page.click("#save")
    assert "Section B has a remark and no answer yet" in page.inner_text("#said")
    assert page.evaluate("document.activeElement.name") == "answer-0"


@pytest.mark.browser
def test_what_was_entered_survives_a_reload(page: Any) -> None:
    answer_all(page)
    page.fill("#name", "Åsa")
    before = page.input_value("#text")
    page.reload()
    assert page.input_value("#text") == before
    assert "too busy" in before


@pytest.mark.browser
def test_sections_without_the_line_ask_nothing(page: Any) -> None:
    assert page.get_by_role("group", name=re.compile("may it be recorded")).count() == 2
    assert page.inner_text("#open-sections") == "Without an answer so far: B, A2."


AA = 4.5
"""Least contrast of text in WCAG 2.2, success criterion 1.4.3; the formula below is its definition of contrast."""

CONTRASTS = """
() => {
  const parse = (text) => text.match(/[\\d.]+/g).map(Number);
  const linear = (c) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4);
  const light = ([r, g, b]) => 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
  const ground = (node) => {
    for (; node; node = node.parentElement) {
      const colour = parse(getComputedStyle(node).backgroundColor);
      if (colour.length === 3 || colour[3] > 0) return colour;
    }
    return [255, 255, 255];
  };
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const parent = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || parent.closest("script, noscript, .hidden")) continue;
    const [a, b] = [light(parse(getComputedStyle(parent).color)), light(ground(parent))];
    found.push([walker.currentNode.data.trim().slice(0, 40), (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05)]);
  }
  return found;
}
"""


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_fits_and_can_be_read(page: Any, scheme: str) -> None:
    page.emulate_media(color_scheme=scheme)
    for width in (390, 768, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        contrasts = page.evaluate(CONTRASTS)
        assert len(contrasts) > 50
        assert [pair for pair in contrasts if pair[1] < AA] == []


@pytest.mark.browser
def test_every_control_has_a_name(page: Any) -> None:
    nameless = page.evaluate(
        """() => [...document.querySelectorAll('button, input, textarea')].filter((node) =>
             !(node.labels?.length || node.getAttribute('aria-label') || node.textContent.trim()))
             .map((node) => node.outerHTML)"""
    )
    assert nameless == []
