"""Melodies of music21's corpus as songs: chords as written above them or, where there are none, by a plain rule.

The corpus as installed holds two tunes of the Nottingham set and two lead sheets with chords; the other melodies are
folk songs and dances without, harmonised by the triads of their key that hold most of each bar's melody.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from obbligato.demo.song import SungNote
from obbligato.music.harmony import note_name

from .grooves import Groove
from .scores import Score, _syllable

_DEGREES = {
    "major": ((0, "maj"), (5, "maj"), (7, "maj"), (9, "min"), (2, "min")),
    "minor": ((0, "min"), (5, "min"), (7, "maj"), (3, "maj"), (10, "maj")),
}
_KINDS = {"major": "maj", "minor": "min", "dominant": "7", "dominant-seventh": "7", "minor-seventh": "min7"}
_INTERVALS = {"maj": (0, 4, 7), "min": (0, 3, 7)}


@dataclass(frozen=True)
class Tune:
    """A melody in beats of its metre, 0 at its first bar line, and the chords (beat, label) written above it."""

    per_bar: int
    unit: str
    bars: int
    tonic: int
    mode: str
    notes: tuple[tuple[float, float, int], ...]
    chords: tuple[tuple[float, str], ...]


@cache
def read_tune(name: str) -> Tune:
    """A tune of the corpus: `path` or `path:number`."""
    from music21 import corpus, stream

    path, _, number = name.partition(":")
    parsed = corpus.parse(path, number=int(number)) if number else corpus.parse(path)
    if isinstance(parsed, stream.Opus):
        parsed = parsed.scores[0]
    part = parsed.parts[0]
    time = part.recurse().getElementsByClass("TimeSignature").first()
    compound = time.denominator == 8 and time.numerator % 3 == 0
    quarters = 1.5 if compound else 4.0 / time.denominator
    per_bar = time.numerator // (3 if compound else 1)
    measures = list(part.getElementsByClass("Measure"))
    bar = time.barDuration.quarterLength
    first = measures[0].duration.quarterLength
    origin = float(first if first < bar - 1e-6 else 0.0)
    flat = part.flatten()
    notes = tuple(
        ((float(n.offset) - origin) / quarters, float(n.quarterLength) / quarters, n.pitch.midi)
        for n in flat.stripTies().getElementsByClass("Note")
        if n.quarterLength > 0
    )
    key = (list(flat.getElementsByClass("Key")) or [part.analyze("key")])[0]
    symbols = tuple(
        ((float(c.offset) - origin) / quarters, f"{note_name(c.root().pitchClass)}:{_KINDS.get(c.chordKind, 'maj')}")
        for c in flat.getElementsByClass("ChordSymbol")
    )
    last = max(b + d for b, d, _ in notes)
    bars = int(np.ceil((last + origin / quarters) / per_bar - 0.05))
    return Tune(per_bar, "dotted quarter" if compound else "quarter", bars, key.tonic.pitchClass, key.mode, notes,
                symbols)  # fmt: skip


def write_tune(
    name: str, groove: Groove, *, bpm: float, seconds: float, lowest: int | None, lead: bool, seed: int
) -> Score:
    """The tune over and over for about `seconds`, two bars of chords before it and between.

    The singer and the lead take turns; without a lead the singer has every second time through, the band the others.
    """
    rng = np.random.default_rng([seed, 4])
    tune = read_tune(name)
    if (tune.per_bar, tune.unit) != (groove.per_bar, groove.unit):
        raise ValueError(f"{name} is in {tune.per_bar} {tune.unit}s, the groove is not")
    per_bar = tune.per_bar
    chords = _chords(tune)
    shift = int(rng.integers(-3, 4))
    score = Score(groove, 0)
    score.keys = [(0.0, note_name((tune.tonic + shift) % 12), tune.mode)]
    low = min(p for _, _, p in tune.notes)
    turn = 0
    while score.bars * per_bar * 60.0 / bpm < seconds - 8.0:
        score.heads.append(score.bars)
        start = float((score.bars + 2) * per_bar)
        opening = tune.chords[0][1] if tune.chords else f"{note_name(tune.tonic)}:{_DEGREES[tune.mode][0][1]}"
        score.chords.append((start - 2.0 * per_bar, 2.0 * per_bar, _up(opening, shift)))
        score.chords += [(start + b, d, _up(label, shift)) for b, d, label in chords]
        sung = lowest is not None and (turn % 2 == 0 or not lead)
        if sung:
            move = shift + 12 * round((lowest + 2 - low - shift) / 12.0)
            score.lines += _lines(tune, start, move, rng)
        elif lead:
            move = shift + 12 * round((65 - low - shift) / 12.0)
            score.lead += [(start + b, 0.92 * d, p + move) for b, d, p in tune.notes]
        score.bars += 2 + tune.bars
        turn += 1
    return score


def _chords(tune: Tune) -> list[tuple[float, float, str]]:
    end = float(tune.bars * tune.per_bar)
    if tune.chords:
        starts = [max(0.0, b) for b, _ in tune.chords]
        ends = [*starts[1:], end]
        return [(a, z - a, label) for a, z, (_, label) in zip(starts, ends, tune.chords, strict=True) if z - a > 1e-6]
    out: list[tuple[float, float, str]] = []
    before = 0
    for bar in range(tune.bars):
        scores = []
        for i, (step, quality) in enumerate(_DEGREES[tune.mode]):
            tones = {(tune.tonic + step + k) % 12 for k in _INTERVALS[quality]}
            held = sum(
                max(0.0, min(b + d, (bar + 1.0) * tune.per_bar) - max(b, bar * tune.per_bar)) * (p % 12 in tones)
                for b, d, p in tune.notes
            )
            home = 2.0 * (i == 0 and bar in (0, tune.bars - 1))
            scores.append(held + home + 0.15 * (i == 0) + 0.1 * (i == before) - 0.1 * i / 4)
        before = int(np.argmax(scores))
        step, quality = _DEGREES[tune.mode][before]
        label = f"{note_name((tune.tonic + step) % 12)}:{quality}"
        out.append((bar * float(tune.per_bar), float(tune.per_bar), label))
    return out


def _up(label: str, semitones: int) -> str:
    from obbligato.music.harmony import pitch_class

    root, quality = label.split(":")
    return f"{note_name((pitch_class(root) + semitones) % 12)}:{quality}"


def _lines(tune: Tune, start: float, move: int, rng: np.random.Generator) -> list[tuple[SungNote, ...]]:
    """Lines of four bars; the last note of each is cut short for breath."""
    per_line = 4.0 * tune.per_bar
    lines: dict[int, list[SungNote]] = {}
    for beat, length, pitch in tune.notes:
        line = int((beat + 0.5) // per_line)
        lines.setdefault(line, []).append(SungNote(start + beat, length, pitch + move, _syllable(rng)))
    out = []
    for notes in lines.values():
        last = notes[-1]
        held = max(0.5 * last.duration_beats, last.duration_beats - 1.0)
        out.append((*notes[:-1], replace(last, duration_beats=held)))
    return out
