"""Chord labels and keys: reading them, spelling them, writing them for a player.

Labels follow the syntax of Harte et al. (2005): `Bb:min7/b3` is root, shorthand and bass degree, `N` is no chord.
Names of notes are a letter with sharps (#) or flats (b); names of keys are a tonic and `major` or `minor`.
Notes: shorthands are those of the paper with the extensions in common use (11, 13, sus2, power chord); a degree
list in brackets adds degrees, or leaves them out where starred, as there.

References
----------
C. Harte, M. Sandler, S. Abdallah, E. Gomez: Symbolic representation of musical chords: a proposed syntax for
text annotations. Proc. ISMIR, 2005, pages 66-71.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from obbligato.errors import InputError
from obbligato.music.spans import Mode

NO_CHORD = "N"
UNKNOWN_CHORD = "X"

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_DEGREES = (0, 0, 2, 4, 5, 7, 9, 11, 12, 14, 16, 17, 19, 21)
"""Semitones of the degrees 1 to 13 of a major scale; index 0 is unused."""

_FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_MAJOR_TONICS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_MINOR_TONICS = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")

_QUALITIES: dict[str, tuple[tuple[int, ...], str]] = {
    "maj": ((0, 4, 7), ""),
    "min": ((0, 3, 7), "m"),
    "dim": ((0, 3, 6), "dim"),
    "aug": ((0, 4, 8), "aug"),
    "sus2": ((0, 2, 7), "sus2"),
    "sus4": ((0, 5, 7), "sus4"),
    "5": ((0, 7), "5"),
    "1": ((0,), ""),
    "7": ((0, 4, 7, 10), "7"),
    "maj7": ((0, 4, 7, 11), "maj7"),
    "min7": ((0, 3, 7, 10), "m7"),
    "minmaj7": ((0, 3, 7, 11), "m(maj7)"),
    "dim7": ((0, 3, 6, 9), "dim7"),
    "hdim7": ((0, 3, 6, 10), "m7b5"),
    "maj6": ((0, 4, 7, 9), "6"),
    "min6": ((0, 3, 7, 9), "m6"),
    "9": ((0, 4, 7, 10, 2), "9"),
    "maj9": ((0, 4, 7, 11, 2), "maj9"),
    "min9": ((0, 3, 7, 10, 2), "m9"),
    "11": ((0, 4, 7, 10, 2, 5), "11"),
    "min11": ((0, 3, 7, 10, 2, 5), "m11"),
    "13": ((0, 4, 7, 10, 2, 5, 9), "13"),
    "maj13": ((0, 4, 7, 11, 2, 5, 9), "maj13"),
    "min13": ((0, 3, 7, 10, 2, 5, 9), "m13"),
    "": ((0,), ""),
}
_LABEL = re.compile(
    r"(?P<root>[A-G][#b]*)(?::(?P<quality>[a-z0-9]*)(?:\((?P<degrees>[^()]*)\))?)?(?:/(?P<bass>[#b]*\d+))?"
)
_MODES: dict[str, Mode] = {
    "": "major",
    "major": "major",
    "maj": "major",
    "M": "major",
    "minor": "minor",
    "min": "minor",
    "m": "minor",
}


@dataclass(frozen=True)
class Chord:
    """A chord as pitch classes (0 is C), sounding.

    Attributes
    ----------
    root, bass
        Pitch classes of the root and of the lowest note.
    pitch_classes
        Every pitch class in the chord, bass included.
    """

    root: int
    pitch_classes: frozenset[int]
    bass: int


@dataclass(frozen=True)
class _Label:
    root: str
    quality: str
    degrees: tuple[str, ...]
    bass: str


def parse_chord(label: str) -> Chord | None:
    """Read a label in Harte syntax; None where no chord is named (`N`, `X`).

    >>> chord = parse_chord("Bb:min7/b3")
    >>> chord.root, sorted(chord.pitch_classes), chord.bass
    (10, [1, 5, 8, 10], 1)

    Raises
    ------
    InputError
        When the label does not follow the syntax.
    """
    if label in (NO_CHORD, UNKNOWN_CHORD):
        return None
    parts = _split(label)
    root = pitch_class(parts.root)
    steps = set(_QUALITIES[parts.quality][0])
    for degree in parts.degrees:
        if degree.startswith("*"):
            steps.discard(_degree_semitones(degree[1:]) % 12)
        else:
            steps.add(_degree_semitones(degree) % 12)
    bass = (root + _degree_semitones(parts.bass)) % 12
    return Chord(root, frozenset((root + step) % 12 for step in steps) | {bass}, bass)


def chord_text(label: str, semitones: int = 0, *, prefer_flats: bool | None = None) -> str:
    """A label as a player reads it on a chart, `semitones` higher; no chord reads `N.C.`.

    Parameters
    ----------
    semitones
        From the label's pitch up to the text's; for a written part, from sounding to written.
    prefer_flats
        Spell black keys flat (or sharp). None keeps the label's own spelling where it is not moved, and
        otherwise takes the name of the commoner major key.

    >>> chord_text("Bb:min7/b3", 2)
    'Cm7/Eb'
    """
    if label in (NO_CHORD, UNKNOWN_CHORD):
        return "N.C."
    parts = _split(label)
    if semitones % 12 == 0 and prefer_flats is None:
        root = parts.root
    else:
        root = _name(pitch_class(parts.root) + semitones, prefer_flats)
    text = root + _QUALITIES[parts.quality][1]
    if parts.degrees:
        text += "(" + ",".join("no" + d[1:] if d.startswith("*") else _added(d) for d in parts.degrees) + ")"
    step = _degree_semitones(parts.bass) % 12
    if step:
        letter = _degree_letter(root, parts.bass)
        text += "/" + _spelled(letter, (pitch_class(root) + step) % 12, prefer_flats)
    return text


def pitch_class(name: str) -> int:
    """Pitch class (0 is C) of a note name.

    >>> pitch_class("Bb"), pitch_class("F#"), pitch_class("Cb")
    (10, 6, 11)
    """
    if not re.fullmatch(r"[A-G][#b]*", name):
        raise InputError(f"'{name}' is not the name of a note; write it like C, F# or Bb.")
    return (_STEPS[name[0]] + name.count("#") - name.count("b")) % 12


def note_name(pitch: int, *, prefer_flats: bool = True) -> str:
    """Name without octave of a pitch or pitch class.

    >>> note_name(70), note_name(70, prefer_flats=False)
    ('Bb', 'A#')
    """
    return (_FLAT_NAMES if prefer_flats else _SHARP_NAMES)[pitch % 12]


def parse_key(text: str) -> tuple[str, Mode]:
    """Read a key such as `Bb major`, `F# minor`, `Gm` or `D`; a lone letter is major.

    >>> parse_key("f# Minor")
    ('F#', 'minor')
    """
    match = re.fullmatch(r"\s*([A-Ga-g])([#b♯♭]?)[\s-]*([A-Za-z]*)\s*", text)
    word = match[3] if match else "?"
    mode = _MODES.get(word) or _MODES.get(word.lower())
    if match is None or mode is None:
        raise InputError(f"'{text}' is not a key; write it like 'Bb major' or 'F# minor'.")
    tonic = match[1].upper() + match[2].replace("♯", "#").replace("♭", "b")
    if abs(key_fifths(tonic, mode)) > 7:
        raise InputError(f"'{text}' would need more than seven sharps or flats; name the same key otherwise.")
    return tonic, mode


def key_fifths(tonic: str, mode: Mode) -> int:
    """Key signature: sharps (positive) or flats (negative).

    >>> key_fifths("Eb", "major"), key_fifths("F#", "minor")
    (-3, 3)
    """
    pitch_class(tonic)
    naturals = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
    fifths = naturals[tonic[0]] + 7 * (tonic.count("#") - tonic.count("b"))
    return fifths - (3 if mode == "minor" else 0)


def tonic_name(pitch: int, mode: Mode) -> str:
    """The usual name of the key on a pitch (class): the one with fewer sharps or flats in its signature."""
    return (_MAJOR_TONICS if mode == "major" else _MINOR_TONICS)[pitch % 12]


def transpose_key(tonic: str, mode: Mode, semitones: int) -> str:
    """Tonic of the key `semitones` higher; unmoved, it keeps its name."""
    return tonic if semitones % 12 == 0 else tonic_name(pitch_class(tonic) + semitones, mode)


def key_prefers_flats(tonic: str, mode: Mode) -> bool:
    """Whether black keys are better spelled flat in a key (C major and A minor count as flat)."""
    return key_fifths(tonic, mode) <= 0


def _split(label: str) -> _Label:
    match = _LABEL.fullmatch(label.strip())
    quality = "maj" if match is None or (match["quality"] is None and match["degrees"] is None) else match["quality"]
    if match is None or quality not in _QUALITIES or (quality == "" and not match["degrees"]):
        raise InputError(f"'{label}' is not a chord label; write it like C:maj, Bb:min7 or N.")
    degrees = tuple(d.strip() for d in (match["degrees"] or "").split(",") if d.strip())
    parts = _Label(match["root"], quality, degrees, match["bass"] or "1")
    for degree in (*degrees, parts.bass):
        if not re.fullmatch(r"\*?[#b]*([1-9]|1[0-3])", degree):
            raise InputError(f"'{label}': {degree} is not a degree of a scale; degrees run from 1 to 13.")
    return parts


def _degree_semitones(degree: str) -> int:
    """Semitones above the root of a degree such as `b7` or `#11`."""
    number = int(degree.lstrip("#b"))
    return _DEGREES[number] + degree.count("#") - degree.count("b")


def _degree_letter(root: str, degree: str) -> str:
    letters = "CDEFGAB"
    return letters[(letters.index(root[0]) + int(degree.lstrip("#b")) - 1) % 7]


def _spelled(letter: str, pitch: int, prefer_flats: bool | None) -> str:
    """`pitch` on `letter` where one accidental is enough, otherwise under its plain name."""
    alter = (pitch - _STEPS[letter] + 6) % 12 - 6
    if abs(alter) > 1:
        return _name(pitch, prefer_flats)
    return letter + {-1: "b", 0: "", 1: "#"}[alter]


def _name(pitch: int, prefer_flats: bool | None) -> str:
    if prefer_flats is None:
        return tonic_name(pitch, "major")
    return note_name(pitch, prefer_flats=prefer_flats)


def _added(degree: str) -> str:
    return degree if degree.startswith(("#", "b")) else "add" + degree
