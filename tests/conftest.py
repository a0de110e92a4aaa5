"""The longest files first, so that no worker is left with one of them when the others have ended."""

LONGEST = (
    "test_whole_job.py",
    "test_browser_whole_job.py",
    "test_browser_keyboard.py",
    "test_browser_everywhere.py",
    "test_browser_listen.py",
    "test_difference.py",
    "test_pitch.py",
)


def pytest_collection_modifyitems(items):
    rank = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.path.name, len(rank)))
