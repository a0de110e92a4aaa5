"""How much of a tune's written rhythm comes back from a loose performance of it.

Tunes are those that music21 carries: fiddle tunes of Ryan's Mammoth Collection (1883) and Bach's chorale sopranos.
The performance is made here: onsets scattered, notes shortened to 0.8 to 1 of their length, a constant lag, and in
one row swung eighths, for tunes that have eight off-beat eighths or more and nothing shorter.
Run it as: python bench/rhythm.py
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
from music21 import converter, corpus, meter, note

from obbligato.music.grid import Meter
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.notation import quantise


def tunes(n_each):
    """(name, metre, [(onset, end) in quarters from the first bar line, pitch]) of tunes with a single metre."""
    for composer in ("ryansMammoth", "bach"):
        paths = sorted(p for p in corpus.getPaths() if p.parent.name == composer and p.suffix in (".abc", ".mxl"))
        found = 0
        for path in paths[:: max(1, len(paths) // (2 * n_each))]:
            for tune in read(path):
                found += 1
                yield composer, *tune
                if found >= n_each:
                    break
            if found >= n_each:
                break


def read(path):
    score = converter.parse(path)
    parts = [s.parts[0] for s in score.scores] if hasattr(score, "scores") and score.scores else [score.parts[0]]
    for part in parts[:1]:
        signatures = {m.ratioString for m in part.recurse().getElementsByClass(meter.TimeSignature)}
        if len(signatures) != 1:
            continue
        bars = list(part.getElementsByClass("Measure"))
        pickup = bars[0].duration.quarterLength if bars[0].number == 0 else 0.0
        notes = []
        for element in part.flatten().stripTies().notes:
            if isinstance(element, note.Note) and element.duration.quarterLength > 0:
                onset = Fraction(element.offset) - Fraction(pickup)
                notes.append((onset, onset + Fraction(element.duration.quarterLength), element.pitch.midi))
        if len(notes) >= 16:
            yield signatures.pop(), notes


def perform(notes, beat, *, rng, scatter, lag=0.0, swing=0.5):
    """The tune played: quarters in, beats out."""

    def at(quarters):
        whole, inside = divmod(float(quarters), 1.0)
        return whole + (2 * inside * swing if inside < 0.5 else swing + (2 * inside - 1) * (1 - swing))

    played = []
    for start, end, pitch in notes:
        onset = at(start) + lag + scatter * float(np.clip(rng.standard_normal(), -2.5, 2.5))
        length = (at(end) - at(start)) * rng.uniform(0.8, 1.0)
        played.append([onset, onset + length, pitch])
    played.sort()
    for a, b in pairwise(played):
        a[1] = min(a[1], b[0])
    return Line(
        tuple(Note(a / beat, max(b - a, 0.01) / beat, p) for a, b, p in played), (Phrase(0, 0, len(played) - 1),)
    )


def in_eighths(tune):
    """Whether a tune is in quarter beats and eighths, and so can be swung."""
    _, signature, notes = tune
    off = [onset for onset, _, _ in notes if onset % 1 == Fraction(1, 2)]
    return (
        Meter.from_signature(signature).beat_quarters == 1
        and len(off) >= 8
        and all(2 * o % 1 == 0 for o, _, _ in notes)
    )


def score(rows, **how):
    rng = np.random.default_rng(1)
    right = ends = total = 0
    feels = []
    for _, signature, notes in rows:
        metre = Meter.from_signature(signature)
        if metre.beat_quarters == 2:  # read in quarters, as the page does
            metre = Meter(2 * metre.beats_per_bar)
        beat = float(metre.beat_quarters)
        written = quantise(perform(notes, beat, rng=rng, **how), metre)
        quarters = [(n.onset * metre.beat_quarters, n.end * metre.beat_quarters) for n in written.notes]
        right += sum(a[0] == b[0] for a, b in zip(quarters, notes, strict=True))
        ends += sum(a == b[:2] for a, b in zip(quarters, notes, strict=True))
        total += len(notes)
        feels.append(written.feel)
    return right / total, ends / total, sum(f != "" for f in feels) / len(feels)


def main():
    rows = list(tunes(25))
    ways = {
        "exact": {"scatter": 0.0},
        "scatter 0.02 quarter": {"scatter": 0.02},
        "scatter 0.04 quarter": {"scatter": 0.04},
        "scatter 0.03, lag 0.06": {"scatter": 0.03, "lag": 0.06},
    }
    print(f"{'tunes':16}{'performance':26}{'notes':>7}{'onset right':>13}{'onset + end':>13}{'swing heard':>13}")
    for name in ("ryansMammoth", "bach"):
        mine = [r for r in rows if r[0] == name]
        total = sum(len(r[2]) for r in mine)
        even = [r for r in mine if in_eighths(r)]
        for label, how in ways.items():
            total = sum(len(r[2]) for r in mine)
            print(f"{name:16}{label:26}{total:7}" + "".join(f"{value:13.4f}" for value in score(mine, **how)))
        if not even:
            continue
        how = {"scatter": 0.02, "swing": 0.63}
        total = sum(len(r[2]) for r in even)
        label = f"swing 0.63, {len(even)} tunes"
        print(f"{name:16}{label:26}{total:7}" + "".join(f"{value:13.4f}" for value in score(even, **how)))


if __name__ == "__main__":
    main()
