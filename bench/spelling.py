"""Share of notes spelled as printed, from pitches and key signatures alone.

Music is what music21 carries: Bach chorales, movements for strings and piano, fiddle tunes of Ryan's and O'Neill's
collections, Monteverdi's madrigals, and songs of the fourteenth century. Beside it stands
ps13 as partitura implements it, which is not told the key (Meredith: The ps13 pitch spelling algorithm, Journal of
New Music Research 35(2), 2006). The last columns spell the same notes as instruments in Bb, Eb and F read
them, against the printed names moved by the interval, where the written key has at most six signs.
Run it as: python bench/spelling.py
"""

from __future__ import annotations

import warnings
from itertools import islice

import numpy as np
from music21 import converter, corpus, key, note, pitch
from partitura.musicanalysis import estimate_spelling

from obbligato.music.spelling import spell

# Folders, files wanted, and at most so many tunes of one file.
COLLECTIONS = {
    "Bach chorales": ({"bach"}, 20, 1),
    "strings, piano": ({"haydn", "mozart", "schumann_robert"}, 6, 1),
    "Ryan's fiddle tunes": ({"ryansMammoth"}, 60, 1),
    "O'Neill's tunes": ({"oneills1850"}, 10, 10),
    "Monteverdi": ({"monteverdi"}, 8, 1),
    "14th century": ({"trecento"}, 15, 1),
}
READERS = {"in Bb": ("M2", 2, 2), "in Eb": ("M6", 9, 3), "in F": ("P5", 7, 1)}


def printed(part):
    """Onsets, pitches, keys and names of a part's notes, tied notes once."""
    onsets, pitches, keys, names = [], [], [], []
    fifths, mode = 0, "major"
    for element in part.flatten():
        if isinstance(element, key.KeySignature):
            fifths, mode = element.sharps, getattr(element, "mode", None) or "major"
            mode = mode if mode == "minor" else "major"
        elif isinstance(element, note.Note) and not (element.tie and element.tie.type != "start"):
            onsets.append(float(element.offset))
            pitches.append(element.pitch.midi)
            keys.append((fifths, mode))
            names.append(element.pitch.nameWithOctave.replace("-", "b"))
    return onsets, pitches, keys, names


def tunes(folders, wanted, of_each):
    """The first two parts of the pieces of a collection."""
    paths = sorted(p for p in corpus.getPaths() if folders & set(p.parts) and p.suffix in (".mxl", ".abc", ".xml"))
    for path in paths[:: max(1, len(paths) // wanted)][:wanted]:
        score = converter.parse(path)
        for piece in islice(getattr(score, "scores", None) or [score], of_each):
            for part in piece.parts[:2]:
                found = printed(part)
                if len(found[0]) >= 8:
                    yield found


def by_ps13(onsets, pitches):
    rows = [(o, 0.25, p) for o, p in zip(onsets, pitches, strict=True)]
    notes = np.array(rows, dtype=[("onset_beat", "f4"), ("duration_beat", "f4"), ("pitch", "i4")])
    signs = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
    return [f"{n['step']}{signs.get(int(n['alter']), '?')}{n['octave']}" for n in estimate_spelling(notes)]


def as_read(rows, interval, semitones, fifths):
    """Right and all notes, of a reader whose part is written so much higher."""
    right = total = 0
    for _, pitches, keys, names in rows:
        written = [(own + fifths, mode) for own, mode in keys]
        if any(abs(own) > 6 for own, _ in written):
            continue
        moved = [pitch.Pitch(n.replace("b", "-")).transpose(interval) for n in names]
        found = spell([p + semitones for p in pitches], written)
        right += sum(str(s) == m.nameWithOctave.replace("-", "b") for s, m in zip(found, moved, strict=True))
        total += len(names)
    return right / total if total else float("nan")


def main():
    print(f"{'music':22}{'notes':>8}{'as printed':>12}{'ps13':>10}" + "".join(f"{name:>10}" for name in READERS))
    for label, (folders, wanted, of_each) in COLLECTIONS.items():
        rows = list(tunes(folders, wanted, of_each))
        total = sum(len(names) for *_, names in rows)
        right = plain = 0
        for onsets, pitches, keys, names in rows:
            right += sum(str(s) == n for s, n in zip(spell(pitches, keys), names, strict=True))
            plain += sum(s == n for s, n in zip(by_ps13(onsets, pitches), names, strict=True))
        read = "".join(f"{as_read(rows, *how):10.4f}" for how in READERS.values())
        print(f"{label:22}{total:8}{right / total:12.4f}{plain / total:10.4f}{read}", flush=True)


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    main()
