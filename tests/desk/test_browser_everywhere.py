"""On every view in a real browser: what screen readers need, widths from 390 to 2560 px, print, motion, weight."""

import re
import shutil
import subprocess

import pytest

pytestmark = pytest.mark.browser

VIEWS = {
    "jobs": ".job-list",
    "song": ".chart-bar",
    "write": ".write-row [data-note]",
    "client": ".client .round",
    "page": ".to-play .made-files",
    "stand": ".stand-row .staff",
    "record": ".devices",
    "take": ".take-music .staff",
    "choose": ".choose-phrase",
    "delivery": ".pack-files",
    "account": ".hours",
}
"""The views, and what is on each once it stands."""

WAIT_MS = 20_000
MAX_BEFORE_SOUND_BYTES = 1_000_000


def place(desk, view):
    return f"{desk.address.partition('#')[0]}#/{'' if view == 'jobs' else f'NightFerry/{view}'}"


def go(page, desk, view):
    page.goto(place(desk, view))
    page.wait_for_selector(VIEWS[view], state="attached", timeout=WAIT_MS)
    if view not in {"jobs", "stand", "take"}:
        page.wait_for_selector(".chart-stave svg", state="attached", timeout=WAIT_MS)


def unfold(page):
    page.eval_on_selector_all("details", "all => all.forEach((one) => { one.open = true; })")


def found_by_axe(page):
    """What axe-core has against the whole page: rule, gravity, and the first place of each."""
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )
    violations = axe.Axe().run(page).response["violations"]
    return [(one["id"], one["impact"], len(one["nodes"]), one["nodes"][0]["html"][:200]) for one in violations]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_axe_finds_nothing_on_any_view(open_page, finished_desk, guide_file, theme, width):
    page = open_page(finished_desk.address, viewport={"width": width, "height": 900}, color_scheme=theme)
    found = {}
    for view in VIEWS:
        go(page, finished_desk, view)
        unfold(page)
        if view == "write":
            page.locator(".write-sheet").focus()
            page.keyboard.press("ArrowRight")
        found[view] = found_by_axe(page)
    page.keyboard.press("?")
    page.get_by_role("dialog").wait_for()
    found["key card"] = found_by_axe(page)
    page.keyboard.press("Escape")
    go(page, finished_desk, "jobs")
    page.get_by_label("Choose a guide").set_input_files(guide_file)
    page.get_by_role("heading", name="A new job").wait_for()
    page.get_by_label("Fee", exact=True).fill("much")
    page.get_by_role("button", name="Start the job").click()
    page.get_by_text("Something in the form is to be corrected first.").wait_for()
    found["new job"] = found_by_axe(page)
    assert page.evaluate("document.documentElement.dataset.theme") == theme
    assert found == {view: [] for view in found}


@pytest.mark.parametrize("width", [390, 2560])
def test_no_view_is_wider_than_the_window(open_page, finished_desk, width):
    page = open_page(finished_desk.address, viewport={"width": width, "height": 900})
    for view in VIEWS:
        go(page, finished_desk, view)
        unfold(page)
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, view


def test_nothing_moves_where_motion_is_not_wanted(open_page, finished_desk):
    page = open_page(finished_desk.address, reduced_motion="reduce")
    for view in VIEWS:
        go(page, finished_desk, view)
        assert page.evaluate("document.getAnimations().length") == 0, view


def test_all_views_together_weigh_less_than_a_megabyte_before_sound(open_page, finished_desk):
    """Bytes of the answers' bodies as they come over the line, all but the sounds themselves."""
    page = open_page("about:blank")
    sizes = {}
    page.on("response", lambda response: sizes.setdefault(response.url, response))
    page.goto(finished_desk.address)
    for view in VIEWS:
        go(page, finished_desk, view)
    total = sum(
        response.request.sizes()["responseBodySize"]
        for url, response in list(sizes.items())
        if not re.search(r"/sounds/|/api/events", url)
    )
    print(f"{total / 1e3:.0f} kB in {len(sizes)} answers")
    assert 100_000 < total < MAX_BEFORE_SOUND_BYTES


def test_the_song_prints_as_a_sheet(open_page, finished_desk, tmp_path):
    if not shutil.which("pdftotext"):
        pytest.skip("poppler-utils are not installed")
    page = open_page(finished_desk.address)
    go(page, finished_desk, "song")
    page.pdf(path=tmp_path / "song.pdf", format="A4", prefer_css_page_size=True)
    text = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "song.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    assert text.count("\f") == 1
    assert text.count("Night Ferry") == 1
    assert "100.0 quarter" in text
    for word in ("Play", "Keys", "Tempo:", "Put something right", "Next:", "Levels"):
        assert word not in text, word
