"""Invented songs with a line each, for the bench of pages: every metre, key, kind of tempo and instrument in turn."""

from __future__ import annotations

import random
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from obbligato.listen.songmap import CountIn, GridFinding, MeterFinding, SongMap, Tempo, TempoChange, Tuning
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import INSTRUMENTS, Instrument
from obbligato.music.line import Line, Note
from obbligato.music.phrases import find_phrases
from obbligato.music.spans import ChordSpan, KeySpan, SectionSpan
from obbligato.sound.facts import SourceFacts

SIGNATURES = ("4/4", "5/4", "12/8", "7/8", "3/4", "6/8", "9/8", "4/4", "2/4", "2/2")
TEMPI = ("steady", "drifting", "stepping", "slowing")
_TONICS = ("C", "G", "D", "A", "E", "B", "F#", "Db", "Ab", "Eb", "Bb", "F")
_SCALES = {"major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10)}
_CHORDS = ("maj", "min", "7", "maj7", "min7", "sus4", "hdim7", "dim", "maj6", "9")
_PITCH_CLASS = dict(zip(("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"), range(12), strict=True))
_CELLS = {
    # By what a beat is: lengths in beats that fill one or more whole beats. Threes are tuplets in a simple beat.
    False: (
        (1,), (1,), (2,), ("1/2", "1/2"), ("1/2", "1/2"), ("3/4", "1/4"), ("1/4",) * 4, ("1/3",) * 3, ("2/3", "1/3"),
    ),
    True: ((1,), (2,), ("1/3",) * 3, ("2/3", "1/3"), ("1/3", "2/3"), ("1/6",) * 2 + ("2/3",), ("1/2", "1/2")),
    None: ((1,), (1, 1), (2,), (2,), ("1/2", "1/2"), (3,)),
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A song, a line on it, and who plays it."""

    name: str
    song: SongMap
    line: Line
    instrument: Instrument


def make_case(seed: int, *, instrument: Instrument | None = None, bars: int | None = None, **wanted: str) -> Case:
    """A case by its number; `signature` and `tempo` fix what else follows from the number."""
    rng = random.Random(seed)
    signature = wanted.get("signature") or SIGNATURES[seed % len(SIGNATURES)]
    tempo_kind = wanted.get("tempo") or TEMPI[seed // 3 % len(TEMPI)]
    player = instrument or INSTRUMENTS[seed % len(INSTRUMENTS)]
    meter = Meter.from_signature(signature)
    count = bars or rng.choice((24, 40, 64, 96, 160))
    pickup = rng.random() < 0.4
    grid, changes = _grid(rng, meter, count, tempo_kind)
    keys = _keys(rng, grid, count)
    song = _song(rng, grid, changes, keys, count, steady=tempo_kind == "steady")
    notes = _notes(rng, count, player, keys, grid, pickup=pickup)
    line = Line(notes, find_phrases(notes, grid))
    return Case(f"{seed}: {player.name}, {signature}, {tempo_kind}, {count} bars", song, line, player)


def _grid(rng: random.Random, meter: Meter, bars: int, kind: str) -> tuple[Grid, tuple[TempoChange, ...]]:
    quarters = rng.uniform(64.0, 150.0)
    bpm = round(quarters / float(meter.beat_quarters), 1)
    lead_s = 2.0 * meter.beats_per_bar * 60.0 / bpm
    if kind == "steady":
        return Grid.steady(bpm, lead_s, meter), ()
    beats = np.arange(-2 * meter.beats_per_bar, (bars + 1) * meter.beats_per_bar + 1)
    share = np.clip(beats / beats[-1], 0.0, 1.0)
    course = {
        "drifting": 1.0 + 0.02 * np.sin(share * 9.0) + 0.02 * share,
        "stepping": np.where(share < 0.5, 1.0, rng.choice((0.8, 1.2))),
        "slowing": 1.0 - 0.35 * np.clip((share - 0.92) / 0.08, 0.0, 1.0),
    }[kind]
    seconds = np.concatenate([[0.0], np.cumsum(60.0 / (bpm * course[:-1]))])
    grid = Grid.from_beats([float(s) for s in seconds], 2 * meter.beats_per_bar, meter)
    changes, said = [], 0.0
    for bar in range(1, bars + 1, 2):
        at_s = grid.bar_to_sec(bar)
        here = grid.bpm_at(at_s + 1e-6)
        if not said or abs(here / said - 1.0) > 0.01:
            changes.append(TempoChange(at_s, here))
            said = here
    return grid, tuple(changes)


def _keys(rng: random.Random, grid: Grid, bars: int) -> tuple[KeySpan, ...]:
    starts = [1] + ([rng.randrange(bars // 2, bars - 2)] if rng.random() < 0.6 else [])
    ends = [*starts[1:], bars + 1]
    return tuple(
        KeySpan(grid.bar_to_sec(a), grid.bar_to_sec(b), rng.choice(_TONICS), rng.choice(("major", "minor")), 0.9)
        for a, b in zip(starts, ends, strict=True)
    )


def _song(
    rng: random.Random,
    grid: Grid,
    changes: tuple[TempoChange, ...],
    keys: tuple[KeySpan, ...],
    bars: int,
    *,
    steady: bool,
) -> SongMap:
    meter = grid.meter
    duration_s = grid.bar_to_sec(bars + 1) + 2.0
    first = -2 * meter.beats_per_bar
    beats_s = tuple(float(s) for s in grid.beat_to_sec(np.arange(first, bars * meter.beats_per_bar + 1)))
    chords, bar = [], 1
    while bar <= bars:
        end = min(bars + 1, bar + rng.choice((1, 1, 2)))
        label = f"{rng.choice(_TONICS)}:{rng.choice(_CHORDS)}"
        chords.append(ChordSpan(grid.bar_to_sec(bar), grid.bar_to_sec(end), label))
        bar = end
    heads = list(range(1, bars + 1, 8))
    sections = tuple(
        SectionSpan(grid.bar_to_sec(a), grid.bar_to_sec(b), "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[i])
        for i, (a, b) in enumerate(zip(heads, [*heads[1:], bars + 1], strict=True))
    )
    return SongMap(
        source=SourceFacts(
            path="guide.wav",
            sha256="fedcba9876543210" * 4,
            container="WAV",
            codec="PCM_24",
            sample_rate=48000,
            channels=2,
            bit_depth=24,
            duration_s=duration_s,
            frames=round(duration_s * 48000),
            lead_silence_s=0.0,
            encoder_delay_samples=None,
            integrated_lufs=-14.0,
            true_peak_dbtp=-1.0,
            clipped_samples=0,
            warnings=(),
        ),
        tempo=Tempo(grid.bpm_at(grid.bar_1_s + 1e-6), steady, 0.9, 5.0, 0.0, (), changes),
        meter=MeterFinding(meter.beats_per_bar, meter.beat_unit, 0.9),
        count_in=CountIn(0.0, grid.bar_1_s, 2 * meter.beats_per_bar, 2.0),
        grid=GridFinding(grid.bar_1_s, beats_s, beats_s[:: meter.beats_per_bar]),
        tuning=Tuning(440.0, 0.0),
        keys=keys,
        chords=tuple(chords),
        sections=sections,
        voice=(),
        openings=(),
    )


def _notes(
    rng: random.Random,
    bars: int,
    player: Instrument,
    keys: tuple[KeySpan, ...],
    grid: Grid,
    *,
    pickup: bool,
) -> tuple[Note, ...]:
    """Phrases of two to four bars with rests of one to six between them, walking along the scale of the key."""
    meter = grid.meter
    cells = _CELLS[None if meter.beat_quarters < 1 else meter.compound]
    low, high = player.to_sounding(player.comfortable_low), player.to_sounding(player.comfortable_high)
    pitch = rng.randint(low, high)
    notes: list[Note] = []
    beat = Fraction(-1) if pickup else Fraction(meter.beats_per_bar * rng.randint(0, 4))
    end = Fraction(meter.beats_per_bar * bars)
    while beat < end - meter.beats_per_bar:
        stop = min(end, beat + meter.beats_per_bar * rng.randint(2, 4))
        while beat < stop:
            for length in map(Fraction, rng.choice(cells)):
                if beat + length > end:
                    break
                pitch = _next_pitch(rng, pitch, low, high, _scale(keys, float(grid.beat_to_sec(float(beat)))))
                if rng.random() > 0.12:
                    late = rng.gauss(0.0, 0.008)
                    notes.append(Note(float(beat) + late * (beat > 0), float(length) * 0.93, pitch))
                beat += length
        beat = Fraction(-(-beat // 1)) + meter.beats_per_bar * rng.randint(1, 6)
    return tuple(notes)


def _scale(keys: tuple[KeySpan, ...], at_s: float) -> frozenset[int]:
    key = next((key for key in reversed(keys) if key.start_s <= at_s), keys[0])
    return frozenset((_PITCH_CLASS[key.tonic] + step) % 12 for step in _SCALES[key.mode])


def _next_pitch(rng: random.Random, pitch: int, low: int, high: int, scale: frozenset[int]) -> int:
    step = rng.choice((-5, -3, -2, -1, -1, 1, 1, 2, 3, 5, 7))
    wanted = min(high, max(low, pitch + step))
    if rng.random() < 0.08:
        return wanted
    return min(range(low, high + 1), key=lambda p: (p % 12 not in scale, abs(p - wanted)))
