import importlib
import time
from pathlib import Path

import pytest

from obbligato.desk.work import Work


@pytest.fixture
def work():
    lanes = Work(lambda: None)
    yield lanes
    lanes.close()


@pytest.fixture
def targets(monkeypatch):
    """The pieces of work, from a module that the other process finds too: it is given this one's search path."""
    monkeypatch.syspath_prepend(str(Path(__file__).parent))
    return importlib.import_module("work_targets")


def wait_for(there, within_s=20.0):
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        if found := there():
            return found
        time.sleep(0.02)
    raise AssertionError("it did not happen in time")


def ended(work, task):
    return wait_for(lambda: (now := work.get(task.id)).state not in {"waiting", "running"} and now)


def test_work_reports_and_returns(work, targets, tmp_path):
    task = work.start("ferry", "counting", targets.count_up, to=3, file=str(tmp_path / "n"))
    assert work.busy("ferry").id == task.id
    done = ended(work, task)
    assert (done.state, done.result, done.fraction) == ("done", {"counted": 3}, 1.0)
    assert work.busy("ferry") is None


def test_a_refusal_is_told_in_its_own_words_and_the_next_piece_goes_on(work, targets, tmp_path):
    refused = work.start("ferry", "refusing", targets.refuse)
    after = work.start("ferry", "counting", targets.count_up, to=2, file=str(tmp_path / "n"))
    assert ended(work, refused).error == "The file is silent; choose another."
    assert ended(work, after).state == "done"


def test_cancelled_work_stops_at_once_and_what_waits_goes_on(work, targets, tmp_path):
    long = work.start("ferry", "counting", targets.count_up, to=10_000, file=str(tmp_path / "n"))
    waiting = work.start("ferry", "never", targets.count_up, to=5, file=str(tmp_path / "never"))
    after = work.start("ferry", "counting", targets.count_up, to=2, file=str(tmp_path / "m"))
    wait_for((tmp_path / "n").exists)
    assert work.cancel(waiting.id).state == "cancelled"
    assert work.cancel(long.id).state == "cancelled"
    counted = (tmp_path / "n").read_text()
    assert ended(work, after).state == "done"
    assert (tmp_path / "n").read_text() == counted
    assert not (tmp_path / "never").exists()


@pytest.mark.parametrize(("target", "words"), [("die", "cut off"), ("break_down", "broke")])
def test_work_that_dies_says_so_and_the_next_piece_goes_on(work, targets, tmp_path, target, words):
    dead = work.start("ferry", "dying", getattr(targets, target))
    after = work.start("ferry", "counting", targets.count_up, to=2, file=str(tmp_path / "n"))
    assert words in ended(work, dead).error
    assert ended(work, after).state == "done"


def test_sounds_do_not_wait_for_work(work, targets, tmp_path):
    long = work.start("ferry", "counting", targets.count_up, to=10_000, file=str(tmp_path / "n"))
    sound = work.start("ferry", "rendering", targets.count_up, lane="sounds", to=2, file=str(tmp_path / "m"))
    assert ended(work, sound).state == "done"
    assert work.get(long.id).state in {"running", "waiting"}
