"""Chord symbols as players write them, read into the labels that the program keeps.

Players write one chord in many ways (`Cm7`, `Cmin7`, `C-7`); the list holds those of any chord chart (common
practice, no source). The labels follow Harte et al., as in `harmony`.
"""

from __future__ import annotations

import re

from obbligato.errors import InputError
from obbligato.music.harmony import NO_CHORD, parse_chord, pitch_class, tonic_name

_KINDS: dict[str, tuple[str, ...]] = {
    "maj": ("", "M", "maj", "major"),
    "min": ("m", "min", "minor", "-"),
    "dim": ("dim", "°", "o"),
    "aug": ("aug", "+", "5+", "#5"),
    "sus2": ("sus2",),
    "sus4": ("sus4", "sus"),
    "5": ("5",),
    "7": ("7", "dom7"),
    "maj7": ("maj7", "M7", "Δ", "Δ7", "j7"),
    "min7": ("m7", "min7", "-7"),
    "minmaj7": ("m(maj7)", "mM7", "mmaj7", "minmaj7", "-Δ", "mΔ"),
    "dim7": ("dim7", "°7", "o7"),
    "hdim7": ("m7b5", "ø", "ø7", "min7b5", "-7b5", "m7(b5)"),
    "maj6": ("6", "maj6"),
    "min6": ("m6", "min6", "-6"),
    "9": ("9",),
    "maj9": ("maj9", "M9", "Δ9"),
    "min9": ("m9", "min9", "-9"),
    "11": ("11",),
    "min11": ("m11", "min11", "-11"),
    "13": ("13",),
    "maj13": ("maj13", "M13"),
    "min13": ("m13", "min13", "-13"),
    "maj(9)": ("add9", "(add9)", "2", "add2"),
    "min(9)": ("madd9", "m(add9)"),
    "maj6(9)": ("69", "6/9", "6(9)"),
    "7(b9)": ("7b9", "7(b9)"),
    "7(#9)": ("7#9", "7(#9)"),
    "7(#11)": ("7#11", "7(#11)"),
    "7(*5,#5)": ("7#5", "7+", "aug7", "+7", "7(#5)"),
    "7(*5,b5)": ("7b5", "7(b5)"),
    "sus4(b7)": ("7sus4", "7sus", "7(sus4)"),
    "sus4(b7,9)": ("9sus4", "9sus"),
}
_LABEL_OF_KIND = {written: label for label, spellings in _KINDS.items() for written in spellings}
_SYMBOL = re.compile(r"(?P<root>[A-Ga-g][#b]?)(?P<kind>[^/]*(?:/9)?)(?:/(?P<bass>[A-Ga-g][#b]?))?")
_NO_CHORD = ("N", "N.C.", "NC", "N.C")
_LETTERS = "CDEFGAB"
_MAJOR_STEPS = (0, 2, 4, 5, 7, 9, 11)


def chord_label(text: str, semitones: int = 0) -> str:
    """The label of a chord symbol, `semitones` higher; `N.C.` is no chord, and a label itself is understood too.

    >>> chord_label("Bbm7/Db"), chord_label("C-7", -2), chord_label("N.C.")
    ('Bb:min7/b3', 'Bb:min7', 'N')

    Raises
    ------
    InputError
        When the symbol cannot be read.
    """
    plain = text.strip().replace("♭", "b").replace("♯", "#").replace("−", "-").replace(" ", "")
    if plain.upper() in _NO_CHORD:
        return NO_CHORD
    label = plain if ":" in plain else _label_of(plain, text)
    parse_chord(label)
    return _moved(label, semitones)


def _label_of(symbol: str, given: str) -> str:
    match = _SYMBOL.fullmatch(symbol)
    kind = _LABEL_OF_KIND.get(match["kind"]) if match else None
    if match is None or kind is None:
        raise InputError(f"'{given}' is not a chord; write it like C, Bbm7, F#7b9, Ab/C or N.C.")
    root = _capital(match["root"])
    label = f"{root}:{kind}"
    return f"{label}/{_degree(root, _capital(match['bass']))}" if match["bass"] else label


def _capital(name: str) -> str:
    return name[0].upper() + name[1:]


def _degree(root: str, bass: str) -> str:
    """The bass as a degree of the major scale on the root; a degree of more than one sign is named otherwise."""
    step = (_LETTERS.index(bass[0]) - _LETTERS.index(root[0])) % 7
    semitones = (pitch_class(bass) - pitch_class(root)) % 12
    alter = (semitones - _MAJOR_STEPS[step] + 6) % 12 - 6
    if abs(alter) > 1:
        step = max(i for i, major in enumerate(_MAJOR_STEPS) if major <= semitones)
        alter = semitones - _MAJOR_STEPS[step]
    return ("b" if alter < 0 else "#" * alter) + str(step + 1)


def _moved(label: str, semitones: int) -> str:
    if semitones % 12 == 0 or label == NO_CHORD:
        return label
    match = re.match("[A-G][#b]*", label)
    root = match[0] if match else ""
    return tonic_name(pitch_class(root) + semitones, "major") + label[len(root) :]
