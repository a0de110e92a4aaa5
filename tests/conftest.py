"""One real browser for all tests of a process, and the longest files first."""

from pathlib import Path

import pytest

CHROMIUM = Path("/usr/bin/chromium")
CHROMIUM_ARGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
]

LONGEST = (
    "test_whole_job.py",
    "test_browser_keyboard.py",
    "test_browser_everywhere.py",
    "test_browser_tabs.py",
    "test_browser_recording.py",
    "test_browser_listen.py",
    "test_browser_whole_job.py",
    "test_browser_writing.py",
    "test_browser_song.py",
    "test_pitch.py",
    "test_browser_choosing.py",
    "test_browser_client.py",
    "test_api_fuzzed.py",
    "test_difference.py",
    "test_recorded_song.py",
)
"""They begin first, so that no worker is left with one of them when the others have ended."""


def pytest_collection_modifyitems(items):
    rank = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.path.name, len(rank)))


@pytest.fixture(scope="session")
def chromium():
    """A real browser, or a reason why not; two of the library's drivers in one process stand in each other's way."""
    if not CHROMIUM.exists():
        pytest.skip("chromium is not installed")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=str(CHROMIUM), args=CHROMIUM_ARGS)
        yield browser
        browser.close()
