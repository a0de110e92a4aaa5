"""Writing and playing in a real browser: by keys, by pointer, by a MIDI keyboard; the part on the stand."""

from itertools import pairwise

import pytest

JOB = "/api/jobs/NightFerry"
BEAT_S = 0.6

expect = pytest.importorskip("playwright.sync_api", reason="playwright is not installed").expect
pytestmark = pytest.mark.browser

FAKE_KEYBOARD = """
  const input = { name: "Test keys", state: "connected", onmidimessage: null };
  navigator.requestMIDIAccess = async () => ({ inputs: new Map([["1", input]]), onstatechange: null });
  window.midi = (...bytes) => input.onmidimessage({ data: new Uint8Array(bytes), timeStamp: performance.now() });
"""
PLAY_THREE = """() => new Promise((resolve) => {
  const times = [];
  const at = (ms, run) => setTimeout(run, ms);
  [[0, 60], [500, 64], [1100, 67]].forEach(([ms, pitch]) => {
    at(ms, () => { times.push(performance.now()); midi(0x90, pitch, 99); });
    at(ms + 350, () => { times.push(performance.now()); midi(0x80, pitch, 0); });
  });
  at(1600, () => resolve(times));
})"""


@pytest.fixture(scope="module")
def browser(chromium):
    return chromium


@pytest.fixture
def context(browser):
    """A window of its own; nothing of the page may go wrong unnoticed."""
    opened = browser.new_context(viewport={"width": 1280, "height": 720})
    opened.set_default_timeout(20_000)
    errors = []
    opened.on("weberror", lambda error: errors.append(str(error.error)))
    yield opened
    opened.close()
    assert errors == []


def open_view(context, served, view, *, script=""):
    page = context.new_page()
    if script:
        page.add_init_script(script)
    page.goto(f"http://127.0.0.1:{served.port}/#token={served.token}")
    page.wait_for_function("() => localStorage.getItem('obbligato-desk-token')")
    page.evaluate(f"location.hash = '#/NightFerry/{view}'")
    return page


def open_sheet(context, served, **more):
    page = open_view(context, served, "write", **more)
    page.wait_for_selector(".write-row [data-note]", state="attached")
    page.locator(".write-sheet").focus()
    return page


def press(page, key, words):
    page.keyboard.press(key)
    page.wait_for_function("words => document.querySelector('.write-where').textContent.includes(words)", arg=words)


def test_a_line_is_changed_by_keys_alone_and_never_lost(context, mapped_desk):
    page = open_sheet(context, mapped_desk)
    # F4 sounds first, on beat 3 of bar 2; a B flat instrument writes G4.
    press(page, "ArrowRight", "G4, sounding F4, bar 2, beat 3")
    press(page, "ArrowUp", "G♯4, sounding")
    press(page, "Shift+ArrowUp", "G♯5")
    press(page, "Shift+ArrowLeft", "bar 2, beat 2½")
    press(page, "-", "½ beat")
    press(page, "Delete", "A4, sounding G4, bar 2, beat 4")
    press(page, "Control+z", "G♯5")
    assert page.locator(".write-head").inner_text().count("not kept")
    page.reload()
    page.wait_for_selector(".write-row [data-note]", state="attached")
    assert "not kept" in page.locator(".write-head").inner_text()

    other = open_sheet(context, mapped_desk)
    other.get_by_text("Another draft lies here").wait_for()
    assert "not kept" not in other.locator(".write-head").inner_text()
    other.get_by_role("button", name="Go on with that one").click()
    other.get_by_text("not kept as a version yet").wait_for()

    page.get_by_role("button", name="Keep as version 2").click()
    page.get_by_text("7 notes, version 2").wait_for()
    kept = mapped_desk.call("GET", f"{JOB}/line")[1]
    assert (kept["version"], kept["notes"][0]["pitch"]) == (2, 65 + 13)
    assert kept["notes"][0]["onset_beat"] == pytest.approx(5.5, abs=0.001)
    assert kept["notes"][0]["duration_beats"] == pytest.approx(0.5, abs=0.002)
    page.get_by_text("1 bar changed since version 1").wait_for()
    # The other tab's draft is as it was.
    assert "not kept" in other.locator(".write-head").inner_text()


def test_marks_are_put_on_and_taken_off_by_keys_and_buttons_and_kept(context, mapped_desk):
    page = open_sheet(context, mapped_desk)
    where = page.locator(".write-where")
    drawn = page.locator(".write-music")

    def do(key, words):
        page.keyboard.press(key)
        expect(where).to_contain_text(words)

    do("ArrowRight", "G4, sounding F4, bar 2, beat 3")
    do("4", "mf")
    do("a", "mf, accent")
    do("Control+Shift+ArrowRight", "2 notes, G4 to A4")
    do("Control+Shift+ArrowRight", "3 notes, G4 to B4")
    page.keyboard.press("l")
    expect(drawn.locator(".slur")).to_have_count(1)
    expect(page.locator(".write-music .picked")).to_have_count(3)
    expect(drawn.locator(".dynam")).to_have_count(1)
    expect(drawn.locator(".artic")).to_have_count(1)
    slur = page.get_by_role("button", name="Slur", exact=True)
    expect(slur).to_have_attribute("aria-pressed", "true")
    do("ArrowRight", "C5, sounding B♭4, bar 3, beat 1")
    page.get_by_role("button", name="Louder", exact=True).click()
    expect(where).to_contain_text("crescendo")
    expect(drawn.locator(".hairpin")).to_have_count(1)
    page.get_by_role("button", name="Louder", exact=True).click()
    expect(drawn.locator(".hairpin")).to_have_count(0)
    do("Control+z", "crescendo")
    page.get_by_label("dynamic").select_option("ff")
    expect(where).to_contain_text("ff, crescendo")
    do("s", "ff, staccato, crescendo")
    do("b", "then a breath")
    do("Control+Shift+Z", "then a breath")  # nothing was undone, so nothing is done again
    page.get_by_role("button", name="Keep as version 2").click()
    page.get_by_text("7 notes, version 2").wait_for()
    page.get_by_text("2 bars changed since version 1").click()
    page.get_by_text("Bar 2: now marked mf from G4, accent on G4, slur G4 to B4.").wait_for()
    kept = [note["marks"] for note in mapped_desk.call("GET", f"{JOB}/line")[1]["notes"]]
    plain = {"signs": [], "level": None, "swell": None, "slurred": False, "breath": False}
    assert kept[:4] == [
        plain | {"signs": ["accent"], "level": "mf", "slurred": True},
        plain | {"slurred": True},
        plain,
        plain | {"signs": ["staccato"], "level": "ff", "swell": "crescendo", "breath": True},
    ]
    assert kept[4:] == [plain] * 3
    page.locator(".write-sheet").focus()
    do("Home", "mf, accent, slurred on")
    page.keyboard.press("0")
    expect(where).not_to_contain_text("slurred")
    expect(where).not_to_contain_text("mf")


def test_a_line_out_of_breath_is_cured_by_the_way_out_beside_it(context, mapped_desk):
    """Ten halves of 1.2 s: more than the flugelhorn's tank and reserve, 10.5 s."""
    notes = [{"onset_beat": 2 * i, "duration_beats": 2, "pitch": 65 + i % 3, "velocity": 80} for i in range(10)]
    assert mapped_desk.call("POST", f"{JOB}/line", {"notes": notes})[0] == 201
    page = open_sheet(context, mapped_desk)
    check = page.locator(".write-check")
    stop = check.locator("li.stop", has_text="the air runs out on the written")
    stop.wait_for()
    check.locator(".budget", has_text="Lip: in the two minutes").get_by_role("img").wait_for()
    way_out = stop.get_by_role("button", name="do it: shorten the note")
    way_out.focus()
    page.keyboard.press("Enter")
    stop.wait_for(state="detached")
    page.get_by_text("not kept as a version yet").wait_for()
    page.locator(".write-sheet").focus()
    page.keyboard.press("Control+z")
    stop.wait_for()

    helps = check.locator(".openings-help details").first
    helps.locator("summary").click()
    helps.get_by_text("Chords, as written for you").wait_for()
    helps.get_by_text("not known; the check hears them").wait_for()
    helps.get_by_role("button", name="write in bar").click()
    page.locator(".write-where", has_text="The mark is at bar").wait_for()


def test_the_pointer_picks_notes_and_sets_the_mark_and_keys_write_there(context, mapped_desk):
    page = open_sheet(context, mapped_desk)
    head = page.locator("[data-note='3'] .notehead").first
    head.evaluate("(head) => head.closest('.write-row').scrollIntoView({ block: 'center' })")
    box = head.bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_function(
        "() => document.querySelector('.write-where').textContent.includes('C5, sounding B♭4, bar 3, beat 1')"
    )
    assert page.locator("[data-note='3'].picked").count() == 1

    music = page.locator(".write-row").nth(1).locator(".write-music")
    box = music.bounding_box()
    music.click(position={"x": box["width"] * 0.08, "y": box["height"] * 0.6})
    page.wait_for_function(
        "() => document.querySelector('.write-where').textContent.includes('The mark is at bar 4')"
    )
    page.get_by_text("How keys are taken").click()
    page.get_by_label("writes a note at the mark").check()
    page.get_by_role("button", name="Play on the computer's keys").click()
    # The page listens to the keys once it has drawn that it does.
    page.evaluate("() => new Promise((drawn) => requestAnimationFrame(() => setTimeout(drawn, 150)))")
    page.keyboard.press("e")  # the key beside W, by its place: two octaves and a third above the lowest C
    expect(page.locator(".write-where")).to_contain_text("sounding E5")
    assert "8 notes" in page.locator(".write-head").inner_text()


def test_what_a_midi_keyboard_plays_is_written_down_in_time(context, mapped_desk):
    page = open_sheet(context, mapped_desk, script=FAKE_KEYBOARD)
    page.get_by_role("button", name="Use a MIDI keyboard").click()
    page.get_by_text("Listening to Test keys.").wait_for()
    record = page.get_by_role("button", name="Take down from bar 2")
    page.wait_for_function("() => !document.querySelector('.write-play .main').disabled", timeout=60_000)
    record.click()
    # Two bars before bar 2 of a song of 2.4 s a bar: the first note comes after them.
    page.wait_for_timeout(5500)
    times = page.evaluate(PLAY_THREE)
    page.get_by_role("button", name="Stop, and keep what I played").click()
    page.get_by_text("3 notes taken down").wait_for(state="attached")
    page.get_by_role("button", name="Keep as version 2").click()
    page.get_by_text("version 2.").first.wait_for()
    notes = mapped_desk.call("GET", f"{JOB}/line")[1]["notes"]
    played = [n for n in notes if n["velocity"] == 99]
    assert [n["pitch"] for n in played] == [60, 64, 67]
    ons, offs = times[0::2], times[1::2]
    # The place heard is known to a frame of the audio clock and a MIDI tick; 40 ms is what a listener calls together.
    for (a, b), (on_a, on_b) in zip(pairwise(played), pairwise(ons), strict=True):
        assert (b["onset_beat"] - a["onset_beat"]) * BEAT_S == pytest.approx((on_b - on_a) / 1000, abs=0.04)
    for note, on, off in zip(played, ons, offs, strict=True):
        assert note["duration_beats"] * BEAT_S == pytest.approx((off - on) / 1000, abs=0.04)
    assert all(4 <= n["onset_beat"] < 12 for n in played)


def test_a_browser_without_midi_says_so(context, mapped_desk):
    page = open_sheet(context, mapped_desk, script="Navigator.prototype.requestMIDIAccess = undefined;")
    page.get_by_role("button", name="Use a MIDI keyboard").click()
    page.get_by_text("knows no MIDI keyboards").wait_for()


STAVE_SHARE = """() => {
  const lines = [...document.querySelector(".stand-row .staff").querySelectorAll(":scope > path")].slice(0, 5);
  const tops = lines.map((line) => line.getBoundingClientRect().top);
  return (Math.max(...tops) - Math.min(...tops)) / innerHeight;
}"""


def test_the_stand_is_large_follows_turns_and_is_left(context, mapped_desk):
    page = open_view(context, mapped_desk, "stand")
    page.wait_for_selector(".stand-row .staff", state="attached")
    assert page.evaluate(STAVE_SHARE) >= 1 / 8
    assert page.locator(".stand-row:not(.gone)").count() == 2
    assert page.evaluate("document.documentElement.scrollHeight <= innerHeight + 1")

    numbers = page.locator(".stand-number")
    before = numbers.all_inner_texts()
    page.keyboard.press("PageDown")
    page.get_by_role("button", name="Follow the song").wait_for()
    assert numbers.all_inner_texts() != before
    page.keyboard.press("PageUp")
    assert numbers.all_inner_texts() == before

    page.wait_for_function("() => !document.querySelector('.stand-tools .main').disabled", timeout=60_000)
    page.keyboard.press("p")
    page.wait_for_function(
        "() => document.querySelector('.stand-place .bar').textContent === 'bar 2'", timeout=30_000
    )
    assert page.locator(".stand-place .letter").inner_text() == "A"
    first = page.evaluate("[...document.querySelectorAll('.stand-mark')].map((mark) => mark.getAttribute('x'))")
    page.wait_for_timeout(400)
    assert first != page.evaluate(
        "[...document.querySelectorAll('.stand-mark')].map((mark) => mark.getAttribute('x'))"
    )
    page.keyboard.press("p")
    page.keyboard.press("Escape")
    page.wait_for_function("() => location.hash.endsWith('/page')")
