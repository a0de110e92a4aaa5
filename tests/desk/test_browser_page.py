"""The Page view in a real browser: the print that the player reads is chosen, engraved, and remembered."""

import json

import pytest

from obbligato.job.mapping import sung_words
from obbligato.job.store import JobFolder

LONG_MS = 120_000

pytestmark = pytest.mark.browser


def at(desk, open_page, view):
    page = open_page(desk.address)
    page.get_by_role("link", name="Night Ferry").first.wait_for()
    page.goto(f"{page.url.partition('#')[0]}#/NightFerry/{view}")
    return page


@pytest.fixture
def page_view(finished_desk, open_page):
    page = at(finished_desk, open_page, "page")
    page.get_by_role("button", name="Engrave it anew").wait_for()
    return page


def test_a_low_vision_print_is_made_and_remembered(page_view, finished_desk):
    page_view.get_by_role("combobox", name="Print").select_option("low-vision")
    page_view.get_by_label("Stave in mm").fill("16,5")
    page_view.get_by_label("Sheet across").check()
    page_view.get_by_role("button", name="Engrave it anew").click()
    page_view.get_by_role("link", name="In low-vision print on A4").wait_for(timeout=LONG_MS)
    folder = JobFolder.open(finished_desk.root / "NightFerry")
    made = folder.path(folder.job.last_made("part").folder)
    found = json.loads((made / "follow.json").read_text(encoding="utf-8"))["files"][0]
    assert (found["file"], found["stave_mm"]) == ("part_low-vision_A4.pdf", 16.5)
    assert found["width_mm"] > found["height_mm"]
    page_view.reload()
    page_view.get_by_role("combobox", name="Print").wait_for()
    assert page_view.get_by_role("combobox", name="Print").input_value() == "low-vision"
    assert page_view.get_by_label("Stave in mm").input_value() == "16,5"
    assert page_view.get_by_label("Sheet across").is_checked()


def test_a_stave_that_cannot_be_is_told_before_anything_is_made(page_view, finished_desk):
    before = JobFolder.open(finished_desk.root / "NightFerry").job.made
    page_view.get_by_label("Stave in mm").fill("big")
    page_view.get_by_role("button", name="Engrave it anew").click()
    page_view.get_by_text("number of millimetres from 5 to 30").wait_for()
    assert JobFolder.open(finished_desk.root / "NightFerry").job.made == before


def test_words_typed_at_a_bar_are_kept(finished_desk, open_page):
    page = at(finished_desk, open_page, "song")
    page.get_by_text("Put something right by hand").wait_for()
    page.get_by_label("Words sung from bar").fill("Cold light over the water")
    page.get_by_role("button", name="Set words").click()
    page.get_by_text("Words noted at bar").first.wait_for(timeout=LONG_MS)
    folder = JobFolder.open(finished_desk.root / "NightFerry")
    assert [words.text for words in sung_words(folder)] == ["Cold light over the water"]
