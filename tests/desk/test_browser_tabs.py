"""Several tabs in a real browser: one truth in all, the desk started anew, long work stopped, clicks answered."""

import shutil
import subprocess
import sys
import time
from statistics import median

import pytest

from obbligato.job.store import JobFolder

pytestmark = pytest.mark.browser

SAME_WITHIN_MS = 2000
WAIT_MS = 20_000
JOB = "/api/jobs/NightFerry"


def place(desk, view):
    return f"{desk.address.partition('#')[0]}#/NightFerry/{view}"


def two_tabs(open_page, desk, view, ready):
    first = open_page(desk.address)
    second = first.context.new_page()
    for page in (first, second):
        page.set_default_timeout(WAIT_MS)
        page.goto(place(desk, view))
        page.locator(ready).first.wait_for(state="attached")
    # Both follow what the server tells once their first answers are in.
    first.wait_for_timeout(1000)
    return first, second


def test_a_choice_made_in_one_tab_is_in_the_other(open_page, finished_desk):
    first, second = two_tabs(open_page, finished_desk, "choose", ".choose-cell[tabindex='0']")
    first.locator(".choose-cell").nth(0).focus()
    first.keyboard.press("1")
    second.locator(".choose-cell.by-hand").wait_for(timeout=SAME_WITHIN_MS)
    second.locator(".choose-cell").nth(0).focus()
    second.keyboard.press("0")
    first.locator(".choose-cell.by-hand").wait_for(state="detached", timeout=SAME_WITHIN_MS)


def test_a_correction_made_in_one_tab_is_in_the_other(open_page, finished_desk):
    first, second = two_tabs(open_page, finished_desk, "song", ".chart-bar")
    first.get_by_role("button", name="Yes, C major").click()
    second.get_by_role("region", name="To be settled by your ear").wait_for(state="detached", timeout=SAME_WITHIN_MS)


def test_hours_and_what_the_command_line_does_are_in_every_tab(open_page, finished_desk):
    first, second = two_tabs(open_page, finished_desk, "account", ".hours")
    first.get_by_label("Minutes").fill("25")
    first.get_by_label("What it was").fill("at the teacher's")
    first.get_by_role("button", name="Enter").click()
    for page in (first, second):
        page.get_by_text("Entered by hand: 2").wait_for(timeout=SAME_WITHIN_MS)
    job = finished_desk.root / "NightFerry"
    command = [sys.executable, "-m", "obbligato", "account", str(job), "--add", "takes=5", "--no-statement"]
    subprocess.run(command, check=True, capture_output=True)
    for page in (first, second):
        page.get_by_text("Entered by hand: 3").wait_for(timeout=SAME_WITHIN_MS)


def test_the_page_survives_the_server_and_so_does_what_is_being_written(open_page, finished_job, tmp_path, serve):
    shutil.copytree(finished_job, tmp_path / "jobs" / "NightFerry")
    desk = serve(tmp_path / "jobs")
    page = open_page(desk.address)
    page.set_default_timeout(WAIT_MS)
    page.goto(place(desk, "write"))
    page.locator(".write-row [data-note]").first.wait_for(state="attached")
    page.locator(".write-sheet").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowUp")
    page.get_by_text("not kept as a version yet").wait_for()
    desk.stop()
    page.get_by_text("The desk is not running.").wait_for()
    page.keyboard.press("ArrowUp")
    again = serve(desk.root, desk.port)
    page.get_by_text("The desk was started anew.").wait_for()
    other = page.context.new_page()
    other.goto(again.address)
    page.get_by_text("The desk was started anew.").wait_for(state="detached")
    page.get_by_role("button", name="Keep as version 2").click()
    page.get_by_text("7 notes, version 2").wait_for()
    kept = again.call("GET", f"{JOB}/line")[1]
    assert kept["notes"][0]["pitch"] == 65 + 2
    again.stop()


def test_long_work_that_is_stopped_leaves_the_job_as_it_was(open_page, finished_desk):
    job = finished_desk.root / "NightFerry"
    before = JobFolder.open(job).job
    page = open_page(finished_desk.address)
    page.set_default_timeout(WAIT_MS)
    page.goto(place(finished_desk, "delivery"))
    page.get_by_label("Deliver all the same").check()
    page.get_by_role("button", name="Write and prove another pack").click()
    until_found(job, ".unfinished-*")
    page.get_by_role("button", name="Stop this").click()
    page.get_by_text("Stopped; nothing was changed.").wait_for()
    assert JobFolder.open(job).job == before
    assert [path.name for path in job.rglob("*unfinished*")] == []
    page.get_by_role("button", name="Write and prove another pack").click()
    page.get_by_role("heading", name="Delivery 2", exact=True).wait_for()


def until_found(folder, pattern):
    """Wait until something of the kind lies there: the work is then in the middle of writing."""
    end = time.monotonic() + WAIT_MS / 1000
    while not list(folder.rglob(pattern)):
        assert time.monotonic() < end
        time.sleep(0.01)


WATCH = """() => {
  window.answered = null;
  const began = (event) => {
    if (!event.isTrusted) return;
    const start = event.timeStamp;
    window.answered = new Promise((done) => {
      const changed = new MutationObserver(() => {
        changed.disconnect();
        requestAnimationFrame(() => done(performance.now() - start));
      });
      changed.observe(document.body, { subtree: true, childList: true, attributes: true, characterData: true });
    });
  };
  addEventListener("pointerup", began, { capture: true, once: true });
}"""


def test_every_click_is_answered_at_once(open_page, finished_desk):
    """From the finger's lifting to the frame that shows the first change, by the page's own clock."""
    page = open_page(finished_desk.address)
    page.set_default_timeout(WAIT_MS)
    found_ms = {}

    def click(what, wanted):
        wanted.wait_for()
        page.evaluate(WATCH)
        wanted.click()
        found_ms[what] = page.evaluate("window.answered")

    button = lambda name: page.get_by_role("button", name=name, exact=True)  # noqa: E731
    stage = lambda name: page.locator(".stages a", has_text=name)  # noqa: E731
    click("open a job", page.get_by_role("link", name="Night Ferry"))
    page.locator(".listen-play:enabled").wait_for()
    click("sounding pitch", button("sounding pitch"))
    click("dark page", button("Dark page"))
    click("play from a bar", page.locator('.chart-bar[data-bar="2"]'))
    click("stop", button("Stop"))
    click("a correction", button("Yes, C major"))
    click("undo", button("Undo the last change"))
    click("to the line", stage("Line"))
    page.locator(".write-row [data-note]").first.wait_for(state="attached")
    click("add a note", button("Add a note"))
    click("make the mock-up", button("Make the mock-up"))
    click("to the takes", stage("Takes"))
    click(
        "choose a take",
        page.locator(".choose-phrase button", has_text="Use take").or_(button("Take 3 is used")).first,
    )
    click("hide names", page.get_by_role("button", name="Hide the takes' names"))
    click("to the account", stage("Account"))
    click("the key card", page.get_by_role("button", name="Keys"))
    for what, ms in found_ms.items():
        print(f"{what:20} {ms:6.1f} ms")
    print(f"{'median':20} {median(found_ms.values()):6.1f} ms")
    assert median(found_ms.values()) < 100.0
