"""What was heard in a take, kept and read back."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

import players
from obbligato.music.grid import Grid, Meter
from obbligato.sound.audio import Audio
from obbligato.takes import kept
from obbligato.takes.assess import choose_again
from obbligato.takes.hearing import hear
from obbligato.takes.kept import heard_from_bytes, heard_to_bytes
from obbligato.takes.levels import STEP_S, Levels
from obbligato.takes.pitch import ANALYSIS_SR
from obbligato.takes.read import HeardTake, hear_takes, judge_takes
from obbligato.takes.readings import TimedLine

GRID = Grid.steady(100.0, 2.0, Meter())


@pytest.fixture(scope="module")
def line() -> TimedLine:
    made: TimedLine = players.invent_line(np.random.default_rng(3), phrases=3)
    return made


@pytest.fixture(scope="module")
def heard(line: TimedLine) -> tuple[HeardTake, ...]:
    rng = np.random.default_rng(5)
    how = (players.Playing(wrong={1: 1}, extra={2: 1}), players.Playing(missed={0: 1}, noise=(2,), offset_s=-1.0))
    takes = [(f"take_{i}", partial(players.play, line, h, rng)) for i, h in enumerate(how)]
    return tuple(hear_takes(line, takes, grid=GRID))


def test_a_choice_from_what_was_kept_is_the_same_to_the_last_digit(
    line: TimedLine, heard: tuple[HeardTake, ...]
) -> None:
    back = tuple(take for take in map(heard_from_bytes, map(heard_to_bytes, heard)) if take)
    first, second = (choose_again(line, judge_takes(line, takes, grid=GRID), grid=GRID) for takes in (heard, back))
    assert first.assessment == second.assessment
    assert first.assessment.seams
    assert dict(first.placements) == dict(second.placements)


def test_damaged_bytes_are_heard_anew(heard: tuple[HeardTake, ...]) -> None:
    data = heard_to_bytes(heard[0])
    for damaged in (b"", b"no archive", data[: len(data) // 2], data[:200] + bytes(200) + data[400:]):
        assert heard_from_bytes(damaged) is None


def test_what_another_version_heard_is_heard_anew(
    heard: tuple[HeardTake, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    data = heard_to_bytes(heard[0])
    monkeypatch.setattr(kept, "READER", kept.READER + 1)
    assert heard_from_bytes(data) is None


# A sine of amplitude a has a mean square of a²/2: -9.03 dBFS at half scale. 20 ms hold 8.8 periods of 440 Hz; the
# part of a period left over changes their mean of a half by at most 1/(4 pi 8.8), that is 0.08 dB.
def test_the_level_of_a_sine(line: TimedLine) -> None:
    t = np.arange(2 * ANALYSIS_SR) / ANALYSIS_SR
    take = Audio(np.where(t < 1.0, 0.5 * np.sin(2 * np.pi * 440 * t), 0.0).astype(np.float32), ANALYSIS_SR)
    levels = Levels.of(hear(take, line, a4_hz=440.0))
    assert len(levels.power) == round(2.0 / STEP_S)
    assert levels.around_db(np.array([0.3, 0.7])) == pytest.approx(10 * np.log10(0.125), abs=0.08)
    assert levels.around_db(np.array([1.5, -3.0, 9.0])).max() < -90.0
    assert levels.room_db(0.2, 0.9) == pytest.approx(10 * np.log10(0.125), abs=0.08)
    assert levels.room_db(0.5, 1.5) < -90.0
    assert levels.room_db(0.5, 0.55) == levels.floor_db
