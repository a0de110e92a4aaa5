"""How much of a tune's written rhythm comes back from a loose performance of it.

Tunes are those that music21 carries: fiddle tunes of Ryan's Mammoth Collection (1883), Bach's chorale sopranos, and
folk songs of the Essen collection. The performance is made here: onsets scattered (0.025 quarter is 15 ms at 100
quarters a minute), notes shortened to a share of their length, a constant lag, a lag that comes and goes over eight
bars of 4/4. In one row eighths are swung, for tunes that have eight off-beat eighths or more and nothing shorter; in
one, tunes in 6/8, 9/8 and 12/8 are played as triplets over quarter beats, if eight notes or more stand on the second
of three (long and short alone are swing). Beside it stands what plain rounding to the nearest sixteenth or triplet
eighth makes of the same performance.
Run it as: python bench/rhythm.py
"""

from __future__ import annotations

from fractions import Fraction
from itertools import islice, pairwise

import numpy as np
from music21 import converter, corpus, meter, note

from obbligato.music.grid import Meter
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.notation import quantise

# Tunes wanted, and at most so many of one file.
COLLECTIONS = {"ryansMammoth": (25, 1), "bach": (25, 1), "essenFolksong": (300, 60)}


def tunes():
    """(name, metre, [(onset, end) in quarters from the first bar line, pitch]) of tunes with a single metre."""
    for name, (wanted, of_each) in COLLECTIONS.items():
        paths = sorted(p for p in corpus.getPaths() if p.parent.name == name and p.suffix in (".abc", ".mxl"))
        found = 0
        for path in paths[:: max(1, len(paths) * of_each // (2 * wanted))]:
            for tune in islice(read(path), min(of_each, wanted - found)):
                found += 1
                yield name, *tune


def read(path):
    score = converter.parse(path)
    for part in [s.parts[0] for s in score.scores] if hasattr(score, "scores") and score.scores else [score.parts[0]]:
        signatures = {m.ratioString for m in part.recurse().getElementsByClass(meter.TimeSignature)}
        # Whole notes as beats are not read by this program.
        if len(signatures) != 1 or next(iter(signatures)).endswith("/1"):
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


def perform(notes, beat, *, rng, scatter, lag=0.0, swing=0.5, held=(0.8, 1.0), wander=0.0):
    """The tune played: quarters in, beats out."""

    def at(quarters):
        whole, inside = divmod(float(quarters), 1.0)
        return whole + (2 * inside * swing if inside < 0.5 else swing + (2 * inside - 1) * (1 - swing))

    played = []
    for start, end, pitch in notes:
        late = lag + wander * float(np.sin(2 * np.pi * float(start) / 32))
        onset = at(start) + late + scatter * float(np.clip(rng.standard_normal(), -2.5, 2.5))
        length = (at(end) - at(start)) * rng.uniform(*held)
        played.append([onset, onset + length, pitch])
    played.sort()
    for a, b in pairwise(played):
        a[1] = min(a[1], b[0])
    return Line(
        tuple(Note(a / beat, max(b - a, 0.01) / beat, p) for a, b, p in played), (Phrase(0, 0, len(played) - 1),)
    )


def nearest(beats, quarters_per_beat):
    """A place or length rounded to the nearer of sixteenths and triplet eighths, in quarters."""
    quarters = beats * quarters_per_beat
    return min((Fraction(round(quarters * n), n) for n in (4, 3)), key=lambda place: abs(place - quarters))


def in_eighths(tune):
    """Whether a tune is in quarter beats and eighths, and so can be swung."""
    _, signature, notes = tune
    off = [onset for onset, _, _ in notes if onset % 1 == Fraction(1, 2)]
    return (
        Meter.from_signature(signature).beat_quarters == 1
        and len(off) >= 8
        and all(2 * o % 1 == 0 for o, _, _ in notes)
    )


def in_triplets(tune):
    """A tune in 6/8, 9/8 or 12/8 as one of triplets over quarter beats; None for others, and where few are whole."""
    name, signature, notes = tune
    beats, unit = (int(part) for part in signature.split("/"))
    if unit != 8 or beats % 3 or beats == 3:
        return None
    triple = [(2 * a / 3, 2 * b / 3, pitch) for a, b, pitch in notes]
    seconds = sum(start % 1 == Fraction(1, 3) for start, _, _ in triple)
    return (name, f"{beats // 3}/4", triple) if seconds >= 8 else None


def score(rows, **how):
    rng = np.random.default_rng(1)
    right = ends = plain = plain_ends = total = 0
    feels = []
    for _, signature, notes in rows:
        metre = Meter.from_signature(signature)
        pulse = 2 if metre.beat_quarters == 2 else 1
        if pulse == 2:  # read in quarters, as the page does
            metre = Meter(2 * metre.beats_per_bar)
        beat = float(metre.beat_quarters)
        line = perform(notes, beat, rng=rng, **how)
        written = quantise(line, metre, pulse_beats=pulse)
        quarters = [(n.onset * metre.beat_quarters, n.end * metre.beat_quarters) for n in written.notes]
        right += sum(a[0] == b[0] for a, b in zip(quarters, notes, strict=True))
        ends += sum(a == b[:2] for a, b in zip(quarters, notes, strict=True))
        rounded = [(nearest(n.onset_beat, beat), nearest(n.end_beat, beat)) for n in line.notes]
        plain += sum(a[0] == b[0] for a, b in zip(rounded, notes, strict=True))
        plain_ends += sum(a == b[:2] for a, b in zip(rounded, notes, strict=True))
        total += len(notes)
        feels.append(written.feel)
    heard = sum(f != "" for f in feels) / len(feels)
    return right / total, ends / total, heard, plain / total, plain_ends / total


WAYS = {
    "exact": {"scatter": 0.0},
    "scatter 0.02 quarter": {"scatter": 0.02},
    "scatter 0.025 quarter": {"scatter": 0.025},
    "scatter 0.04 quarter": {"scatter": 0.04},
    "scatter 0.03, lag 0.06": {"scatter": 0.03, "lag": 0.06},
    "scatter 0.025, wander 0.05": {"scatter": 0.025, "wander": 0.05},
    "scatter 0.025, held 0.5-0.7": {"scatter": 0.025, "held": (0.5, 0.7)},
    "scatter 0.025, held 0.4-0.95": {"scatter": 0.025, "held": (0.4, 0.95)},
    "scatter 0.025, legato": {"scatter": 0.025, "held": (1.0, 1.1)},
}
COLUMNS = ("onset", "onset+end", "swing heard", "plain onset", "plain o+end")


def main():
    rows = list(tunes())
    print(f"{'tunes':22}{'performance':30}{'notes':>7}" + "".join(f"{column:>13}" for column in COLUMNS))
    for name in COLLECTIONS:
        mine = [row for row in rows if row[0] == name]
        for label, how in WAYS.items():
            show(f"{name}, {len(mine)}", label, mine, how)
        even = [row for row in mine if in_eighths(row)]
        if even:
            show(f"{name}, {len(even)}", "scatter 0.02, swing 0.63", even, {"scatter": 0.02, "swing": 0.63})
        triple = [row for row in map(in_triplets, mine) if row is not None]
        if triple:
            show(f"{name}, {len(triple)}", "scatter 0.025, triplets", triple, {"scatter": 0.025})


def show(name, label, rows, how):
    total = sum(len(notes) for _, _, notes in rows)
    values = "".join(f"{value:13.4f}" for value in score(rows, **how))
    print(f"{name:22}{label:30}{total:7}{values}", flush=True)


if __name__ == "__main__":
    main()
