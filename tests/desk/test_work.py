import os
import time
from pathlib import Path

import pytest

from obbligato.desk.work import Work
from obbligato.errors import InputError


def count_up(*, to, file, progress):
    for number in range(to):
        progress(number / to, f"at {number}")
        Path(file).write_text(str(number))
        time.sleep(0.02)
    return {"counted": to}


def refuse(*, progress):
    raise InputError("The file is silent; choose another.")


def die(*, progress):
    os._exit(9)


def break_down(*, progress):
    raise ZeroDivisionError


@pytest.fixture
def work():
    lanes = Work(lambda: None)
    yield lanes
    lanes.close()


def ended(work, task, within_s=20.0):
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        now = work.get(task.id)
        if now.state not in {"waiting", "running"}:
            return now
        time.sleep(0.02)
    raise AssertionError(f"still {work.get(task.id)}")


def test_work_reports_and_returns(work, tmp_path):
    task = work.start("ferry", "counting", count_up, to=3, file=str(tmp_path / "n"))
    assert work.busy("ferry").id == task.id
    done = ended(work, task)
    assert (done.state, done.result, done.fraction) == ("done", {"counted": 3}, 1.0)
    assert work.busy("ferry") is None


def test_a_refusal_is_told_in_its_own_words_and_the_next_piece_goes_on(work, tmp_path):
    refused = work.start("ferry", "refusing", refuse)
    after = work.start("ferry", "counting", count_up, to=2, file=str(tmp_path / "n"))
    assert ended(work, refused).error == "The file is silent; choose another."
    assert ended(work, after).state == "done"


def test_cancelled_work_stops_at_once_and_what_waits_goes_on(work, tmp_path):
    long = work.start("ferry", "counting", count_up, to=10_000, file=str(tmp_path / "n"))
    waiting = work.start("ferry", "never", count_up, to=5, file=str(tmp_path / "never"))
    after = work.start("ferry", "counting", count_up, to=2, file=str(tmp_path / "m"))
    while not (tmp_path / "n").exists():
        time.sleep(0.02)
    assert work.cancel(waiting.id).state == "cancelled"
    assert work.cancel(long.id).state == "cancelled"
    counted = (tmp_path / "n").read_text()
    assert ended(work, after).state == "done"
    assert (tmp_path / "n").read_text() == counted
    assert not (tmp_path / "never").exists()


@pytest.mark.parametrize(("target", "words"), [(die, "cut off"), (break_down, "broke")])
def test_work_that_dies_says_so_and_the_next_piece_goes_on(work, tmp_path, target, words):
    dead = work.start("ferry", "dying", target)
    after = work.start("ferry", "counting", count_up, to=2, file=str(tmp_path / "n"))
    assert words in ended(work, dead).error
    assert ended(work, after).state == "done"


def test_sounds_do_not_wait_for_work(work, tmp_path):
    long = work.start("ferry", "counting", count_up, to=10_000, file=str(tmp_path / "n"))
    sound = work.start("ferry", "rendering", count_up, lane="sounds", to=2, file=str(tmp_path / "m"))
    assert ended(work, sound).state == "done"
    assert work.get(long.id).state in {"running", "waiting"}
