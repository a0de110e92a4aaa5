"""In a real browser: takes chosen, heard, hidden and given back by keys alone; a take dropped, read and left out."""

from __future__ import annotations

import re
import shutil
import time

import numpy as np
import pytest
import soundfile

import played_job
import players
from obbligato.job.choosing import render
from obbligato.job.keys import choice_key
from obbligato.job.mending import mend
from obbligato.job.store import JobFolder
from obbligato.job.taking import add_takes

WAIT_MS = 20_000

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A job with three takes read, and one more take to drop; the line is short, so that all is quick."""
    rng = np.random.default_rng(8)
    line = players.invent_line(rng, phrases=3)
    how = (players.Playing(wrong={1: 1}), players.Playing(wrong={0: 1}), players.Playing(missed={2: 1}))
    base = tmp_path_factory.mktemp("played")
    folder = played_job.make_job(base / "Weir", line, [players.play(line, h, rng) for h in how])
    solo = base / "Solo"
    shutil.copytree(folder.root, solo)
    JobFolder.open(solo).save("line", "the line is taken away", lines=())
    render(folder)
    again = players.play(line, players.Playing(), rng)
    soundfile.write(base / "once more.wav", again.y.T, again.sr, subtype="PCM_24")
    return base


@pytest.fixture(scope="module")
def browser(chromium):
    from playwright.sync_api import expect

    expect.set_options(timeout=WAIT_MS)
    return chromium


@pytest.fixture(scope="module")
def served(serve, tmp_path_factory):
    desk = serve(tmp_path_factory.mktemp("desk") / "jobs")
    yield desk
    desk.stop()


@pytest.fixture
def page(browser, made, served, request):
    """The page on a copy of the job of its own."""
    name = f"Weir{request.node.name.removeprefix('test').replace('_', '')}"
    shutil.copytree(made / "Weir", served.root / name)
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB")
    errors = []
    opened = context.new_page()
    opened.set_default_timeout(WAIT_MS)
    opened.on("pageerror", lambda error: errors.append(str(error)))
    opened.goto(served.address)
    opened.evaluate(f"location.hash = '#/{name}/choose'")
    opened.folder = served.root / name
    _grid(opened).wait_for()
    _expect(opened.locator(".choose-cell[tabindex='0']")).to_have_count(1)
    opened.evaluate("new Promise((done) => requestAnimationFrame(() => setTimeout(done, 100)))")
    yield opened
    context.close()
    assert errors == []


def _expect(locator):
    from playwright.sync_api import expect

    return expect(locator)


def _grid(page):
    return page.get_by_role("grid", name="Phrases down, takes across")


def _cell(page, phrase, take):
    return _grid(page).get_by_role("row").nth(phrase).get_by_role("gridcell").nth(take - 1)


def _go(page, phrase, take):
    _cell(page, phrase, take).focus()
    _expect(_cell(page, phrase, take)).to_have_attribute("tabindex", "0")


def _job(page):
    return JobFolder.open(page.folder)


def _used(page, phrase):
    cells = _grid(page).get_by_role("row").nth(phrase).get_by_role("gridcell")
    return [i + 1 for i in range(cells.count()) if cells.nth(i).get_attribute("aria-selected") == "true"]


def _by_hand(page, count):
    _expect(page.locator(".choose-cell.by-hand")).to_have_count(count)


def _settled(page):
    """The choice is at the server and the comp is rendered as chosen."""
    _expect(page.locator(".choose-words [role=status]").first).to_have_text("The comp is rendered as chosen here.")


def test_choosing_by_keys_alone(page):
    _go(page, 1, 1)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("End")
    _expect(_cell(page, 2, 3)).to_be_focused()
    _expect(_cell(page, 2, 3)).to_have_attribute("tabindex", "0")
    before = _used(page, 2)
    other = 2 if before != [2] else 3
    page.keyboard.press(str(other))
    _by_hand(page, 1)
    assert _used(page, 2) == [other]
    _expect(page.get_by_text("not yet rendered")).to_have_count(1)
    _settled(page)
    job = _job(page)
    assert job.job.overrides == {2: other}
    assert job.job.made_from("choose", choice_key(job)) is not None
    page.keyboard.press("0")
    _by_hand(page, 0)
    _settled(page)
    assert _used(page, 2) == before
    assert _job(page).job.overrides == {}


def test_hidden_names_tell_nothing_and_digits_go_by_place(page):
    page.keyboard.press("h")
    heads = _grid(page).get_by_role("columnheader")
    _expect(heads).to_have_text(["Phrase", "take A", "take B", "take C"])
    shown = page.locator(".choose-table, .choose-seams, .choose-whys").evaluate_all(
        "parts => parts.map(part => part.textContent).join(' ')"
    )
    labels = _grid(page).get_by_role("gridcell").evaluate_all("cells => cells.map(cell => cell.ariaLabel).join(' ')")
    assert "take B" in labels
    assert not re.search(r"\b[Tt]ake \d", shown + labels)
    _go(page, 3, 1)
    page.keyboard.press("2")
    _by_hand(page, 1)
    assert _used(page, 3) == [2]
    page.keyboard.press("h")
    _expect(heads).to_have_text(["Phrase", "take 1", "take 2", "take 3"])
    _settled(page)
    assert list(_job(page).job.overrides) == [3]


def test_a_phrase_is_heard_with_the_guide_and_alone(page):
    _expect(page.get_by_role("button", name="Play alone")).to_be_enabled()
    playing = page.locator(".choose-cell.playing")
    _go(page, 2, 2)
    for key in ("Shift+Enter", "Enter"):
        page.keyboard.press(key)
        _expect(playing).to_have_count(1)
        assert playing.get_attribute("aria-label").startswith("take 2")
        page.keyboard.press(key)
        _expect(playing).to_have_count(0)


def test_the_seams_are_heard_one_after_another(page):
    _expect(page.get_by_role("button", name="Play alone")).to_be_enabled()
    seams = page.locator(".choose-seams li")
    n_seams = seams.count()
    assert n_seams >= 1
    page.keyboard.press("s")
    for i in range(n_seams):
        _expect(seams.nth(i)).to_have_attribute("aria-current", "true")
    _expect(page.locator(".choose-seams li.playing")).to_have_count(0)


def test_a_take_is_dropped_read_and_left_out_again(page, made):
    page.locator(".choose-add input[type=file]").set_input_files(made / "once more.wav")
    page.get_by_text("Take 4 has not been read yet; read and choose.").wait_for()
    page.get_by_role("button", name="Read and choose").click()
    heads = _grid(page).get_by_role("columnheader")
    _expect(heads).to_have_count(5)
    _settled(page)
    assert "not read yet" not in _cell(page, 1, 4).get_attribute("aria-label")
    page.locator(".choose-takes summary").click()
    page.get_by_role("button", name="Leave take 4 out").click()
    _expect(heads).to_have_count(4)
    assert _job(page).job.left_out == {4}


def test_on_a_small_page_there_is_one_phrase_at_a_time(page):
    page.set_viewport_size({"width": 390, "height": 800})
    page.get_by_text("1 of 3").wait_for()
    page.get_by_role("button", name="Next phrase").click()
    page.get_by_text("2 of 3").wait_for()
    cards = page.locator(".choose-card")
    assert cards.count() == 3
    page.locator(".choose-card:not(.used)").first.click()
    page.get_by_role("button", name=re.compile("^Use take")).click()
    page.locator(".choose-card.by-hand").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_dial_and_the_base_are_kept(page):
    dial = page.get_by_role("slider", name="From fewest joins to the best of each phrase")
    dial.focus()
    page.keyboard.press("End")
    _expect(dial).to_have_attribute("aria-valuetext", "the best of each phrase")
    dial.blur()
    _expect(dial).to_have_value("1")
    page.get_by_label("Keep where no other is clearly better").select_option("2")
    _until(lambda: (_job(page).job.joining.joins, _job(page).job.joining.base) == (1.0, 2))


def _open_text(page):
    _settled(page)
    page.locator("summary", has_text="The choice as text").click()
    written = page.get_by_label("Phrase, bars, take, gain")
    written.wait_for()
    return written


def _row(text, phrase):
    return next(line for line in text.splitlines() if line.startswith(f"{phrase} |"))


def _other(row):
    cells = row.split("|")
    cells[2] = " take 1 " if cells[2].strip() == "take 3" else " take 3 "
    return "|".join(cells)


def test_the_choice_as_text_is_changed_and_what_was_written_is_not_lost(page):
    written = _open_text(page)
    save = page.get_by_role("button", name="Choose as written here")
    _expect(save).to_be_disabled()  # nothing is changed yet
    text = written.input_value()
    row = _row(text, 1)
    bad = text.replace(row, "1 | here")
    written.fill(bad)
    save.click()
    page.get_by_text("phrase, bars, take and gain are needed").first.wait_for()
    _expect(written).to_have_value(bad)
    written.fill(text.replace(row, _other(row)))
    save.click()
    page.get_by_text("The choice is as written.").wait_for()
    assert 1 in _job(page).job.overrides
    _expect(written).to_be_visible()


def test_a_choice_in_the_grid_is_not_undone_by_an_older_text(page):
    written = _open_text(page)
    save = page.get_by_role("button", name="Choose as written here")
    before = written.input_value()
    other = 2 if _used(page, 2) != [2] else 3
    _go(page, 2, 1)
    page.keyboard.press(str(other))
    _by_hand(page, 1)
    _expect(save).to_be_disabled()
    _settled(page)
    _expect(written).not_to_have_value(before)  # the text of the new comp
    assert f"take {other}" in _row(written.input_value(), 2)
    mine = written.input_value() + "# mine"
    written.fill(mine)
    _go(page, 2, 1)
    page.keyboard.press("0")
    _by_hand(page, 0)
    _settled(page)
    page.get_by_text("The choice has changed since this was read.").wait_for()
    _expect(save).to_be_disabled()
    _expect(written).to_have_value(mine)
    page.get_by_role("button", name="Read it again").click()
    _expect(written).to_have_value(before)


def test_what_a_whole_take_calls_for_is_mended_and_taken_back(page):
    mend(_job(page), 1, "gain=-3")
    page.reload()
    about = page.get_by_role("region", name="About whole takes")
    about.get_by_text("level by −3 dB").first.wait_for()
    about.get_by_role("button", name="Take this back in take 1").click()
    _until(lambda: not _job(page).job.mended)
    _expect(about).to_have_count(0)


def test_solos_without_a_line_are_read_compared_and_one_is_used_whole(page, made):
    shutil.copytree(made / "Solo", page.folder.parent / "Solo")
    page.folder = page.folder.parent / "Solo"
    page.evaluate("location.hash = '#/Solo/choose'")
    page.get_by_text("There is no line; read the takes to compare them").wait_for()
    page.get_by_role("button", name="Read and choose").click()
    _expect(_grid(page).get_by_role("row")).to_have_count(4)
    _settled(page)
    _go(page, 2, 1)
    page.keyboard.press("1")
    _by_hand(page, 1)
    _settled(page)
    whole = page.get_by_role("region", name="One whole take")
    whole.get_by_role("button", name="Take 3 (").click()
    whole.get_by_role("button", name="is used").wait_for()
    _until(lambda: _job(page).job.overrides == {2: 1, 0: 3})
    _settled(page)
    whole.get_by_role("button", name="Compare them again").click()
    _expect(_grid(page).get_by_role("row")).to_have_count(4)


def test_a_recording_of_several_passes_is_cut(page, made):
    sound, sr = soundfile.read(made / "once more.wav", dtype="float32")
    soundfile.write(page.folder / "twice.wav", np.concatenate([sound, np.zeros(2 * sr, np.float32), sound]), sr)
    add_takes(_job(page), (page.folder / "twice.wav",))
    render(_job(page))
    page.reload()
    page.get_by_role("button", name="Cut take 4 into its passes").click()
    _until(lambda: [take.number for take in _job(page).job.takes_in_use] == [1, 2, 3, 5, 6])
    page.get_by_text("Take 6", exact=False).first.wait_for(state="attached")


def _until(holds, within_s=20.0):
    until = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.1)
