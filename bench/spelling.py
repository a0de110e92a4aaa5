"""Share of notes spelled as the composer did, from pitches and key signatures alone.

Music is what music21 carries: every 22nd Bach chorale in its list, and movements for strings and piano; the first two
parts of each. Run it as: python bench/spelling.py
"""

from __future__ import annotations

import warnings

from music21 import converter, corpus, key, note

from obbligato.music.spelling import spell


def printed(part):
    """Pitches, keys and names of a part's notes, tied notes once."""
    pitches, keys, names = [], [], []
    fifths, mode = 0, "major"
    for element in part.flatten():
        if isinstance(element, key.KeySignature):
            fifths, mode = element.sharps, getattr(element, "mode", None) or "major"
        elif isinstance(element, note.Note) and not (element.tie and element.tie.type != "start"):
            pitches.append(element.pitch.midi)
            keys.append((fifths, mode))
            names.append(element.pitch.nameWithOctave.replace("-", "b"))
    return pitches, keys, names


def main():
    paths = sorted(p for p in corpus.getPaths() if p.suffix == ".mxl")
    sets = {
        "Bach chorales": [p for p in paths if p.parent.name == "bach"][::22],
        "strings, piano": [p for p in paths if {"haydn", "mozart", "schumann_robert"} & set(p.parts)][:6],
    }
    print(f"{'music':18}{'notes':>8}{'as printed':>12}")
    for label, files in sets.items():
        total = wrong = 0
        for path in files:
            for part in converter.parse(path).parts[:2]:
                pitches, keys, names = printed(part)
                wrong += sum(str(s) != n for s, n in zip(spell(pitches, keys), names, strict=True))
                total += len(names)
        print(f"{label:18}{total:8}{1 - wrong / total:12.4f}")


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    main()
