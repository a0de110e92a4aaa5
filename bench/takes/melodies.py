"""Lines to play: melodies of music21's corpus, cut into phrases with rests between, at a tempo that may wander."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from obbligato.music.grid import Grid, Meter
from obbligato.takes.readings import PhraseSpan, TimedLine, TimedNote

TUNES = (
    "ryansMammoth/42dHighlandRegimentStrathspey", "ryansMammoth/7thRegimentReel", "ryansMammoth/AcrobatsHornpipe",
    "ryansMammoth/AmericanRifleTeamHornpipe", "ryansMammoth/BossJig", "essenFolksong/altdeu20:9",
    "essenFolksong/altdeu10:3", "essenFolksong/altdeu10:7", "essenFolksong/altdeu20:4", "essenFolksong/ballad10:2",
    "essenFolksong/ballad10:5", "essenFolksong/erk5:2", "essenFolksong/erk5:9", "essenFolksong/boehme10:3",
    "essenFolksong/boehme10:8", "airdsAirs/book1:4", "airdsAirs/book1:9", "airdsAirs/book1:15",
    "oneills1850/0101-0200:101", "oneills1850/0101-0200:120",
)  # fmt: skip
BAR_1_S = 3.0


@dataclass(frozen=True)
class Written:
    """A line and the grid it lies on."""

    line: TimedLine
    grid: Grid


@cache
def tune(name: str) -> tuple[tuple[float, float, int], ...]:
    """Notes of a tune as (start, length, MIDI pitch), in quarters."""
    from music21 import corpus, stream

    path, _, number = name.partition(":")
    parsed = corpus.parse(path, number=int(number)) if number else corpus.parse(path)
    if isinstance(parsed, stream.Opus):
        parsed = parsed.scores[0]
    flat = parsed.parts[0].flatten().stripTies()
    return tuple(
        (float(n.offset), float(n.quarterLength), int(n.pitch.midi))
        for n in flat.getElementsByClass("Note")
        if n.quarterLength > 0
    )


def write_line(
    name: str, rng: np.random.Generator, *, lowest: int, highest: int, seconds: float, wander: float = 0.0
) -> Written:
    """A tune at a tempo that keeps its notes playable, in phrases of 5 to 9 notes with one or two beats of rest.

    The pitch is moved by octaves (and where that is not enough, folded) into the range; `wander` is the share by
    which the tempo strays slowly.
    """
    notes = tune(name)
    typical = float(np.median([length for _, length, _ in notes]))
    bpm = float(np.clip(60.0 * typical / rng.uniform(0.32, 0.55), 50, 150))
    centre = float(np.median([pitch for *_, pitch in notes]))
    shift = 12 * round(((lowest + highest) / 2 - centre) / 12) + int(rng.integers(-2, 3))
    beats: list[tuple[float, float, int]] = []
    spans: list[PhraseSpan] = []
    pushed, at, i = 0.0, 4.0, 0
    while at * 60.0 / bpm < seconds:
        many = int(rng.integers(5, 10))
        first = len(beats)
        for _ in range(many):
            start, length, pitch = notes[i % len(notes)]
            after = notes[(i + 1) % len(notes)][0]
            step = after - start if after > start else length
            beats.append((at, 0.94 * min(length, step), _folded(pitch + shift, lowest, highest)))
            at, i = at + step, i + 1
        spans.append(PhraseSpan(len(spans), first, len(beats) - 1))
        pushed = float(rng.choice([1.0, 1.5, 2.0]))
        at += max(pushed, 0.9 * bpm / 60.0)
    grid = _grid(bpm, at + 8.0, wander, rng)
    edges = grid.beat_to_sec(np.array([[a, a + length] for a, length, _ in beats]))
    timed = tuple(
        TimedNote(k, float(a), float(b), pitch)
        for k, ((a, b), (*_, pitch)) in enumerate(zip(edges, beats, strict=True))
    )
    return Written(TimedLine(timed, tuple(spans)), grid)


def _folded(pitch: int, lowest: int, highest: int) -> int:
    while pitch < lowest:
        pitch += 12
    while pitch > highest:
        pitch -= 12
    return pitch


def _grid(bpm: float, n_beats: float, wander: float, rng: np.random.Generator) -> Grid:
    if not wander:
        return Grid.steady(bpm, BAR_1_S, Meter())
    count = int(n_beats) + 1
    slow = np.interp(np.arange(count), np.arange(0, count + 16, 16), rng.normal(size=len(range(0, count + 16, 16))))
    lengths = 60.0 / bpm * (1.0 + wander * slow)
    beats_s = BAR_1_S + np.concatenate([[0.0], np.cumsum(lengths)])
    return Grid.from_beats([float(b) for b in beats_s], 0, Meter())
