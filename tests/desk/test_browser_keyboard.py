"""Without a mouse in a real browser: everything is reached by Tab and seen to be, every action is done by keys."""

import json
import re
import time

import pytest

from obbligato.desk.app import WEB
from obbligato.job.store import JobFolder

pytestmark = pytest.mark.browser

VIEWS = {
    "jobs": ".job-list",
    "song": ".song-view details",
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
WAIT_MS = 20_000
LONG_MS = 60_000
MAX_STOPS = 250
JOB = "/api/jobs/NightFerry"

REACHABLE = """() => {
  const kinds = "a[href], button, input, select, textarea, summary, [tabindex]";
  const all = [...document.querySelectorAll(kinds)].filter((one) =>
    one.tabIndex >= 0 && !one.disabled && one.getClientRects().length
    && one.checkVisibility({ visibilityProperty: true }));
  const radios = (one) => one.type !== "radio" || one.checked
    || !document.querySelector(`input[type=radio][name="${one.name}"]:checked`);
  window.expected = new Set(all.filter(radios));
  return window.expected.size;
}"""
STOP = """() => {
  const one = document.activeElement;
  if (one === document.body) return null;
  window.expected.delete(one);
  const style = getComputedStyle(one);
  const box = one.getBoundingClientRect();
  const places = [[.5, .5], [.05, .5], [.95, .5], [.5, .1], [.5, .9]].map(([x, y]) =>
    document.elementFromPoint(box.left + x * box.width, box.top + y * box.height));
  const ring = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
  const seen = places.some((there) => there && (one.contains(there) || there.contains(one)));
  return { ring, seen, html: one.outerHTML.slice(0, 120) };
}"""
LEFT_OUT = "() => [...window.expected].map((one) => one.outerHTML.slice(0, 120))"


def go(page, desk, view):
    base = desk.address.partition("#")[0]
    page.goto(f"{base}#/{'' if view == 'jobs' else f'NightFerry/{view}'}")
    page.wait_for_selector(VIEWS[view], state="attached", timeout=WAIT_MS)
    if view not in {"jobs", "stand", "take"}:
        page.wait_for_selector(".chart-stave svg", state="attached", timeout=WAIT_MS)
    play = "() => !document.querySelector('.listen-play, .stand-tools .main')?.disabled"
    page.wait_for_function(play, timeout=WAIT_MS)


def tab_to(page, wanted, *, back=False):
    """Press Tab until the focus is where it is wanted."""
    handle = wanted.first.element_handle(timeout=WAIT_MS)
    for _ in range(MAX_STOPS):
        if handle.evaluate("(one) => one === document.activeElement"):
            return
        page.keyboard.press("Shift+Tab" if back else "Tab")
    raise AssertionError(f"Tab does not come to {handle.evaluate('(one) => one.outerHTML')[:200]}")


def press(page, role, name, *, key="Enter"):
    """Go to a button, link or tick by Tab, and press it."""
    tab_to(page, page.get_by_role(role, name=name))
    page.keyboard.press(key)


def fill(page, label, text):
    tab_to(page, page.get_by_label(label))
    page.keyboard.press("Control+a")
    page.keyboard.type(text)


def choose_files(page, button, files):
    """The window for choosing files is the system's own; what it gives back is put in its place."""
    tab_to(page, page.locator("button", has_text=button))
    with page.expect_file_chooser() as choosing:
        page.evaluate("() => 0")  # once this is answered, the browser knows that the window is waited for
        page.keyboard.press("Enter")
    choosing.value.set_files(files)


@pytest.mark.parametrize("view", VIEWS)
def test_tab_comes_to_everything_and_shows_where_it_is(open_page, finished_desk, view):
    page = open_page(finished_desk.address)
    go(page, finished_desk, view)
    page.eval_on_selector_all("details", "all => all.forEach((one) => { one.open = true; })")
    assert page.evaluate(REACHABLE) >= 4
    stops, rounds = [], 0
    while rounds < 2:
        page.keyboard.press("Tab")
        stop = page.evaluate(STOP)
        rounds += stop is None
        stops += [stop] if stop else []
        assert len(stops) < MAX_STOPS, "a trap"
    assert page.evaluate(LEFT_OUT) == []
    assert [stop["html"] for stop in stops if not stop["ring"]] == []
    assert [stop["html"] for stop in stops if not stop["seen"]] == []


def test_the_card_names_every_key_there_is(open_page, finished_desk):
    """Every key written in the page's files stands on the card of some view, and so does every key a button names."""
    page = open_page(finished_desk.address)
    on_cards, on_buttons = set(), set()
    for view in VIEWS:
        go(page, finished_desk, view)
        on_buttons |= set(page.locator("kbd").all_inner_texts())
        page.keyboard.press("?")
        page.get_by_role("dialog").wait_for()
        on_cards |= {text.lower() for text in page.get_by_role("dialog").locator("dt kbd").all_inner_texts()}
        page.keyboard.press("Escape")
        page.get_by_role("dialog").wait_for(state="detached")
    written = {
        key.lower()
        for path in WEB.rglob("*.js")
        for keys in re.findall(r'\bkeys: "([^"]+)", (?:label|does)', path.read_text())
        for key in keys.split(" / ")
    }
    assert len(written) > 40
    assert written - on_cards == set()
    assert {text.lower() for text in on_buttons} - on_cards - {"/", "q", "z"} == set()


def test_no_key_does_anything_while_one_types(open_page, finished_desk):
    page = open_page(finished_desk.address)
    typed = "tshpf 0123?"
    for view in ("song", "client", "choose", "account"):
        go(page, finished_desk, view)
        page.eval_on_selector_all("details", "all => all.forEach((one) => { one.open = true; })")
        page.get_by_text("Opening it").wait_for(state="detached")
        field = (
            page.locator("#view").locator("input:not([type]), input[type=text], textarea").filter(visible=True).last
        )
        field.fill("")
        field.press_sequentially(typed)
        room = field.evaluate("(one) => one.maxLength")
        assert field.input_value() == (typed[:room] if room > 0 else typed), view
        assert page.get_by_role("dialog").count() == 0
        assert page.locator(".listen-play").inner_text() == "Play"
        assert page.url.endswith(f"/{view}")
        if view == "choose":
            assert page.locator(".choose-cell.by-hand").count() == 0
            page.get_by_role("button", name="Hide the takes' names").wait_for()


def test_keys_wait_while_the_card_is_open(open_page, finished_desk):
    page = open_page(finished_desk.address)
    go(page, finished_desk, "choose")
    page.keyboard.press("?")
    page.get_by_role("dialog").wait_for()
    page.keyboard.press("h")
    page.keyboard.press("?")
    page.get_by_role("dialog").wait_for(state="detached")
    page.get_by_role("button", name="Hide the takes' names").wait_for()
    page.keyboard.press("h")
    page.get_by_role("button", name="Show the takes' names").wait_for()


def by_hand(desk):
    """What was put right by hand so far, as it lies on the disk."""
    kept = desk.root / "NightFerry" / "guide" / "corrections.json"
    return kept.read_text() if kept.exists() else ""


def until(found, what, seconds=20.0):
    """Wait until something is so on the server."""
    end = time.monotonic() + seconds
    while not found():
        assert time.monotonic() < end, f"not so: {what}"
        time.sleep(0.05)


def test_a_job_is_started_by_keys(open_page, desk_with, guide_file):
    served = desk_with()
    page = open_page(served.address)
    page.get_by_role("heading", name="No jobs yet").wait_for()
    choose_files(page, "Choose a guide", guide_file)
    page.get_by_role("heading", name="A new job").wait_for()
    fill(page, "Title of the song", "Night Ferry")
    tab_to(page, page.get_by_label("Instrument", exact=True))
    page.keyboard.type("Flugelhorn")
    press(page, "button", "Start the job")
    page.wait_for_url("**/#/NightFerry/song")
    page.locator(".song-view").wait_for()
    assert JobFolder.open(served.root / "NightFerry").job.instrument == "Flugelhorn in Bb"


def test_bars_are_played_looped_and_tapped_by_keys(open_page, finished_desk):
    page = open_page(finished_desk.address)
    go(page, finished_desk, "song")
    tab_to(page, page.get_by_label("Two bars before"))
    page.keyboard.press("Space")
    tab_to(page, page.locator(".chart-bar[tabindex='0']"), back=True)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.locator('.chart-bar.now[data-bar="3"]').wait_for()
    page.keyboard.press("Shift+ArrowRight")
    page.get_by_role("checkbox", name="Loop bars 3–4", checked=True).wait_for()
    page.keyboard.press("Escape")
    page.get_by_role("checkbox", name="Loop chosen bars", checked=False).wait_for(state="attached")
    page.keyboard.press("Home")
    page.keyboard.press("Enter")
    page.locator('.chart-bar.now[data-bar="1"]').wait_for()
    for _ in range(9):
        page.keyboard.press("t")
        page.wait_for_timeout(600)
    page.get_by_text(re.compile("^9 taps, about")).wait_for()
    page.keyboard.press("Space")
    page.get_by_role("button", name="Play", exact=True).wait_for()
    press(page, "button", "Count as tapped")
    until(lambda: by_hand(finished_desk), "a count by hand")
    for slider in ("Guide, how loud", "Place in the song"):
        one = page.get_by_label(slider)
        tab_to(page, one)
        before = one.input_value()
        page.keyboard.press("ArrowRight" if slider.startswith("Place") else "ArrowLeft")
        page.wait_for_function("([one, before]) => one.value !== before", arg=[one.element_handle(), before])


def test_every_correction_is_made_by_keys(open_page, finished_desk):
    page = open_page(finished_desk.address)
    go(page, finished_desk, "song")

    def made(act):
        before = by_hand(finished_desk)
        act()
        until(lambda: by_hand(finished_desk) != before, f"changed from {before}")
        page.locator("#view [aria-busy='true']").wait_for(state="detached")

    def typed(label, text, button):
        fill(page, label, text)
        press(page, "button", button)

    def picked(label, letter):
        tab_to(page, page.get_by_label(label))
        page.keyboard.type(letter)
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")

    made(lambda: press(page, "button", "Yes, C major"))
    made(lambda: press(page, "button", re.compile("^Twice as fast")))
    made(lambda: press(page, "button", re.compile("^Half as fast")))
    made(lambda: typed("Quarters a minute", "101", "Set"))
    made(lambda: picked("Metre", "3/4"))
    for name in ("A beat earlier", "½ beat earlier", "½ beat later", "A beat later"):
        made(lambda name=name: press(page, "button", name))
    tab_to(page, page.locator(".chart-bar[tabindex='0']"))
    page.keyboard.press("ArrowRight")
    made(lambda: press(page, "button", "Bar 2 is bar 1"))
    tab_to(page, page.get_by_label("Place in the song"))
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    made(lambda: press(page, "button", "Bar 1 is where it plays now"))
    made(lambda: picked("Written key from bar", "A major"))
    made(lambda: typed("Written chord in bar", "Gm7", "Set chord"))
    made(lambda: typed("Section letter at bar", "X", "Set letter"))
    made(lambda: press(page, "button", "No section begins here"))
    made(lambda: press(page, "button", re.compile("^The singer sings in")))
    made(lambda: press(page, "button", "The singer rests there"))
    made(lambda: press(page, "button", "Undo the last change"))
    made(lambda: press(page, "button", "Undo all"))
    assert finished_desk.call("GET", f"{JOB}/chart")[1]["corrected"]["words"] == ""


def test_a_line_is_written_and_put_on_the_stand_by_keys(open_page, finished_desk):
    page = open_page(finished_desk.address)
    go(page, finished_desk, "write")
    notes = finished_desk.call("GET", f"{JOB}/line")[1]["notes"]
    tab_to(page, page.locator(".write-sheet"))
    where = page.locator(".write-where")
    for key, words in (
        ("ArrowRight", "beat 3"),
        ("ArrowUp", "sounding F♯4|sounding G♭4"),
        ("Shift+ArrowLeft", "beat 2½"),
        ("-", "½ beat"),
        ("+", "1 beat"),
        ("Delete", "sounding G4"),
        ("Control+z", "sounding F♯4|sounding G♭4"),
        ("End", "sounding C4"),
        ("Control+ArrowRight", "The mark is at"),
        ("Enter", "sounding C4"),
    ):
        page.keyboard.press(key)
        page.wait_for_function(
            "([one, words]) => words.split('|').some((some) => one.textContent.includes(some))",
            arg=[where.element_handle(), words],
            timeout=WAIT_MS,
        )
    press(page, "button", "Keep as version 2")
    page.get_by_text(re.compile(r"8 notes, version 2")).wait_for()
    kept = finished_desk.call("GET", f"{JOB}/line")[1]
    assert (kept["version"], kept["notes"][0]["pitch"]) == (2, notes[0]["pitch"] + 1)
    press(page, "button", "Check it")
    page.get_by_text(re.compile("of them serious|Nothing stands in the way")).first.wait_for()
    page.keyboard.press("Alt+4")
    press(page, "link", "Put version 2 on the stand")
    page.locator(".stand-row .staff").first.wait_for(state="attached")
    page.keyboard.press("PageDown")
    page.get_by_role("button", name="Follow the song").wait_for()
    page.keyboard.press("Escape")
    page.wait_for_url("**/page")


def test_takes_are_chosen_by_keys(open_page, finished_desk):
    page = open_page(finished_desk.address)
    go(page, finished_desk, "choose")
    tab_to(page, page.locator(".choose-cell[tabindex='0']"))
    page.keyboard.press("Home")
    page.keyboard.press("1")
    page.locator(".choose-cell.by-hand").wait_for()
    page.keyboard.press("h")
    page.get_by_role("columnheader", name="take A").wait_for()
    page.keyboard.press("h")
    page.keyboard.press("Enter")
    page.locator(".choose-cell.playing").wait_for()
    page.keyboard.press("Enter")
    page.locator(".choose-cell.playing").wait_for(state="detached")
    overrides = lambda: JobFolder.open(finished_desk.root / "NightFerry").job.overrides  # noqa: E731
    until(lambda: overrides() == {1: 1}, "take 1 for phrase 1")
    press(page, "button", "Forget all choices by hand")
    until(lambda: overrides() == {}, "as proposed")
    tab_to(page, page.locator(".choose-takes summary"))
    page.keyboard.press("Enter")
    press(page, "button", "Leave take 1 out")
    until(lambda: JobFolder.open(finished_desk.root / "NightFerry").job.left_out == {1}, "take 1 left out")


def test_the_rest_of_the_job_is_done_by_keys(open_page, finished_desk):
    page = open_page(finished_desk.address)
    go(page, finished_desk, "client")
    tab_to(page, page.locator("summary", has_text="The brief"))
    page.keyboard.press("Enter")
    fill(page, "Title of the song", "Night Ferry again")
    press(page, "button", "Keep the brief")
    page.get_by_role("heading", level=1, name=re.compile("Night Ferry again")).wait_for()
    page.keyboard.press("Alt+7")
    tab_to(page, page.get_by_label(re.compile("Also a treated version")))
    page.keyboard.press("Space")
    tab_to(page, page.get_by_label(re.compile("Deliver all the same")))
    page.keyboard.press("Space")
    press(page, "button", "Write and prove another pack")
    page.get_by_role("heading", name="Delivery 2", exact=True).wait_for(timeout=LONG_MS)
    page.keyboard.press("Alt+8")
    fill(page, "Minutes", "25")
    fill(page, "What it was", "at the teacher's")
    press(page, "button", "Enter")
    page.get_by_text("Entered by hand: 2").wait_for()
    history = (finished_desk.root / "NightFerry" / "history.jsonl").read_text().splitlines()
    assert json.loads(history[-1])["minutes"] == 25
