"""Recordings that hold the line more than once, whole or in part."""

from __future__ import annotations

import numpy as np
import pytest

import players
from obbligato.sound.audio import Audio
from obbligato.takes.hearing import hear
from obbligato.takes.passes import cut_out, find_passes
from obbligato.takes.read import hear_takes, judge_takes
from obbligato.takes.readings import TimedLine

SR = 16000


@pytest.fixture(scope="module")
def line() -> TimedLine:
    made: TimedLine = players.invent_line(np.random.default_rng(3), phrases=8)
    return made


@pytest.fixture(scope="module")
def takes(line: TimedLine) -> list[Audio]:
    return [players.play(line, players.Playing(timbre="brass", sr=SR), np.random.default_rng(s)) for s in range(3)]


def _run_on(line: TimedLine, takes: list[Audio], phrases: list[tuple[int, int]]) -> tuple[Audio, list[float]]:
    """Phrases of takes one after the other with rests between, and where each piece lies on the guide's time."""
    room = np.random.default_rng(0).normal(size=(1, 2 * SR)).astype(np.float32) * 5e-4
    pieces, offsets_s = [], []
    for take, (first, last) in zip(takes, phrases, strict=True):
        start = int((line.notes[line.phrases[first].first_note].start_s - 0.5) * SR)
        stop = int((line.notes[line.phrases[last].last_note].end_s + 0.4) * SR)
        offsets_s.append((start - sum(p.shape[1] for p in pieces)) / SR)
        pieces += [take.y[:, start:stop], room]
    return Audio(np.concatenate(pieces, axis=1), SR), offsets_s


@pytest.mark.parametrize(
    "phrases",
    [[(0, 7), (0, 7)], [(0, 4), (4, 7)], [(2, 3), (2, 3), (2, 3)], [(5, 5), (5, 5)], [(0, 2), (0, 5), (5, 7)]],
    ids=["twice", "taken up again", "two phrases thrice", "one phrase twice", "from the top again"],
)
def test_passes_are_found_with_their_places(
    line: TimedLine, takes: list[Audio], phrases: list[tuple[int, int]]
) -> None:
    recording, offsets_s = _run_on(line, takes[: len(phrases)], phrases)
    passes = find_passes(hear(recording, line, a4_hz=440.0), line, a4_hz=440.0)
    assert [p.offset_s - p.start_s for p in passes] == pytest.approx(offsets_s, abs=0.1)
    assert sum(cut_out(recording, p).n_samples for p in passes) == recording.n_samples


def test_one_pass_stays_whole(line: TimedLine, takes: list[Audio]) -> None:
    (only,) = find_passes(hear(takes[0], line, a4_hz=440.0), line, a4_hz=440.0)
    assert (only.start_s, only.end_s) == (0.0, takes[0].duration_s)


def test_passes_are_read_as_takes_of_their_own(line: TimedLine, takes: list[Audio]) -> None:
    recording, offsets_s = _run_on(line, takes[:2], [(0, 3), (2, 7)])
    read = judge_takes(line, tuple(hear_takes(line, [("a.wav", lambda: recording)], divide=True)))
    assert [take.path for take in read] == ["a.wav#1", "a.wav#2"]
    starts_s = [p.start_s for p in find_passes(hear(recording, line, a4_hz=440.0), line, a4_hz=440.0)]
    for take, offset_s, start_s in zip(read, offsets_s, starts_s, strict=True):
        off_ms = 1e3 * (take.placement.offset_s - (offset_s + start_s))
        assert abs(off_ms) <= take.placement.uncertainty_ms
        heard = {p.index for p in take.reading.phrases if any(n.played for n in p.notes)}
        assert heard == (set(range(4)) if take.path.endswith("1") else set(range(2, 8)))
    whole = judge_takes(line, tuple(hear_takes(line, [("a.wav", lambda: recording)])))
    assert "holds 2 passes" in whole[0].reading.sentence
