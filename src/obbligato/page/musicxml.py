"""A part as MusicXML 4.0.

Pitches are written ones, with `<transpose>` saying how they sound; a score in concert pitch says `<concert-score>`,
and with `<for-part>` how the player's own part is transposed. Bars keep the song's numbers; bars before bar 1
are implicit. Accidentals are written out, since a reader of the file is to draw them and not to work them out.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from fractions import Fraction
from math import lcm
from xml.etree import ElementTree as ET

from obbligato.music.instruments import Clef, Interval
from obbligato.music.spelling import Spelling
from obbligato.page.musicxml_marks import has_notations, write_after, write_before, write_notations
from obbligato.page.musicxml_notes import Accidentals, beam_levels, note_value
from obbligato.page.part_score import Part, ScoreBar, ScoreChord, ScoreNote, WrittenKey

_DOCTYPE = (
    '<?xml version="1.0" encoding="UTF-8" standalone="no"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_CLEFS: dict[Clef, tuple[str, int, int]] = {
    "treble": ("G", 2, 0),
    "treble8vb": ("G", 2, -1),
    "bass": ("F", 4, 0),
    "alto": ("C", 3, 0),
    "tenor": ("C", 4, 0),
}
_KINDS = {
    "": "major",
    "m": "minor",
    "dim": "diminished",
    "aug": "augmented",
    "sus2": "suspended-second",
    "sus4": "suspended-fourth",
    "5": "power",
    "7": "dominant",
    "maj7": "major-seventh",
    "m7": "minor-seventh",
    "m(maj7)": "major-minor",
    "dim7": "diminished-seventh",
    "m7b5": "half-diminished",
    "6": "major-sixth",
    "m6": "minor-sixth",
    "9": "dominant-ninth",
    "maj9": "major-ninth",
    "m9": "minor-ninth",
    "11": "dominant-11th",
    "m11": "minor-11th",
    "13": "dominant-13th",
    "maj13": "major-13th",
    "m13": "minor-13th",
}
"""Chord symbols as printed, and the `kind-value` of MusicXML 4.0 that means the same."""


def part_musicxml(part: Part, *, row_starts: Collection[int] = ()) -> str:
    """The part as a MusicXML 4.0 document (partwise), the same text for the same part.

    Parameters
    ----------
    row_starts
        Numbers of the bars that begin a new row of the page; none leaves rows to the reader of the file.
    """
    root = ET.Element("score-partwise", version="4.0")
    _head(root, part)
    element = _add(root, "part", id="P1")
    accidentals = Accidentals(part.key.fifths)
    divisions = _divisions(part)
    for index, bar in enumerate(part.bars):
        measure = _add(element, "measure", number=str(bar.number))
        if bar.number < 1:
            measure.set("implicit", "yes")
        if bar.number in row_starts and index:
            _add(measure, "print", **{"new-system": "yes"})
        _attributes(measure, part, bar, divisions if index == 0 else None)
        if index == 0:
            _tempo(measure, part, part.beats_a_minute, part.feel)
        if bar.tempo is not None:
            _tempo(measure, part, *bar.tempo)
        if bar.rehearsal:
            letter = _add(_add(_direction(measure), "direction-type"), "rehearsal", bar.rehearsal)
            letter.set("enclosure", "square")
        if bar.cue:
            _add(_add(_direction(measure), "direction-type"), "words", bar.cue, **{"font-style": "italic"})
        if bar.rest_bars > 1:
            _rest_words(measure, bar)
            # After the directions: the engraver passes over those that follow it.
            _add(_add(_add(measure, "attributes"), "measure-style"), "multiple-rest", bar.rest_bars)
        if bar.key is not None:
            accidentals = Accidentals(bar.key.fifths)
        _content(measure, part, bar, accidentals, divisions)
        if index + 1 == len(part.bars) or part.bars[index + 1].rehearsal:
            style = "light-heavy" if index + 1 == len(part.bars) else "light-light"
            _add(_add(measure, "barline", location="right"), "bar-style", style)
    ET.indent(root, space=" ")
    return _DOCTYPE + ET.tostring(root, encoding="unicode") + "\n"


def chord_parts(text: str) -> tuple[str, str, str]:
    """Root, kind as printed, and bass (or nothing) of a chord symbol.

    >>> chord_parts("Bbm7/Db")
    ('Bb', 'm7', 'Db')
    """
    body, _, bass = text.partition("/")
    length = 2 if body[1:2] in ("#", "b") else 1
    return body[:length], body[length:], bass


def _add(parent: ET.Element, tag: str, text: object = None, /, **attributes: str) -> ET.Element:
    element = ET.SubElement(parent, tag, dict(attributes))
    if text is not None:
        element.text = str(text)
    return element


def _divisions(part: Part) -> int:
    fractions = [value for bar in part.bars for note in bar.notes for value in (note.onset, note.quarters)]
    fractions += [chord.onset for bar in part.bars for chord in bar.chords]
    return lcm(part.meter.bar_quarters.denominator, 4, *(value.denominator for value in fractions))


def _head(root: ET.Element, part: Part) -> None:
    heading = part.heading
    _add(_add(root, "work"), "work-title", heading.title)
    identification = _add(root, "identification")
    encoding = _add(identification, "encoding")
    _add(encoding, "software", "Obbligato")
    _add(encoding, "encoding-date", heading.day.isoformat())
    facts = _add(identification, "miscellaneous")
    for name, value in (
        ("version", heading.version),
        ("guide-sha256", heading.guide_sha256),
        ("reading", part.reading),
        ("first-note", part.first_note),
    ):
        _add(facts, "miscellaneous-field", value, name=name)
    if part.concert:
        _add(_add(root, "defaults"), "concert-score")
    for kind, words in (
        ("title", heading.title),
        ("subtitle", part.instrument.name),
        (None, part.reading),
        (None, part.first_note),
        (None, heading.stamp),
    ):
        credit = _add(root, "credit", page="1")
        if kind is not None:
            _add(credit, "credit-type", kind)
        _add(credit, "credit-words", words)
    score_part = _add(_add(root, "part-list"), "score-part", id="P1")
    _add(score_part, "part-name", part.instrument.name, **{"print-object": "no"})
    _add(_add(score_part, "score-instrument", id="P1-I1"), "instrument-name", part.instrument.name)
    midi = _add(score_part, "midi-instrument", id="P1-I1")
    _add(midi, "midi-program", part.instrument.gm_program)


def _attributes(measure: ET.Element, part: Part, bar: ScoreBar, divisions: int | None) -> None:
    key = part.key if divisions is not None else bar.key
    if divisions is None and key is None and bar.clef is None:
        return
    attributes = _add(measure, "attributes")
    if divisions is not None:
        _add(attributes, "divisions", divisions)
    if key is not None:
        _key(attributes, key)
    if divisions is not None:
        upper, lower = part.meter.signature
        time = _add(attributes, "time")
        _add(time, "beats", upper)
        _add(time, "beat-type", lower)
    clef = part.instrument.clef if divisions is not None else bar.clef
    if clef is not None:
        _clef(attributes, clef)
    if divisions is not None:
        _transposition(attributes, part)


def _key(attributes: ET.Element, key: WrittenKey) -> None:
    element = _add(attributes, "key")
    _add(element, "fifths", key.fifths)
    _add(element, "mode", key.mode)


def _clef(parent: ET.Element, clef: Clef, tag: str = "clef") -> None:
    sign, line, octave = _CLEFS[clef]
    element = _add(parent, tag)
    _add(element, "sign", sign)
    _add(element, "line", line)
    if octave:
        _add(element, "clef-octave-change", octave)


def _transposition(attributes: ET.Element, part: Part) -> None:
    interval = part.instrument.transposition
    octaves = interval.octaves - _CLEFS[part.instrument.clef][2]
    if interval.chromatic or interval.diatonic or octaves:
        _interval(_add(attributes, "transpose"), replace(interval, octaves=octaves))
    reader = part.concert_of
    if reader is not None and reader.transposition.chromatic:
        for_part = _add(attributes, "for-part")
        _clef(for_part, reader.clef, "part-clef")
        _interval(_add(for_part, "part-transpose"), reader.transposition)


def _interval(parent: ET.Element, interval: Interval) -> None:
    _add(parent, "diatonic", interval.diatonic)
    _add(parent, "chromatic", interval.chromatic)
    if interval.octaves:
        _add(parent, "octave-change", interval.octaves)


def _direction(measure: ET.Element) -> ET.Element:
    return _add(measure, "direction", placement="above")


def _rest_words(measure: ET.Element, bar: ScoreBar) -> None:
    direction = _add(measure, "direction", placement="below")
    words = f"{bar.number}–{bar.number + bar.rest_bars - 1}"
    _add(_add(direction, "direction-type"), "words", words, **{"font-style": "italic"})


def _tempo(measure: ET.Element, part: Part, beats_a_minute: float | None, words: str) -> None:
    direction = _direction(measure)
    if words:
        _add(_add(direction, "direction-type"), "words", words)
    if beats_a_minute is None:
        return
    metronome = _add(_add(direction, "direction-type"), "metronome")
    kind, dots = note_value(part.meter.beat_quarters)
    _add(metronome, "beat-unit", kind)
    for _ in range(dots):
        _add(metronome, "beat-unit-dot")
    number = f"{beats_a_minute:.1f}".removesuffix(".0")
    _add(metronome, "per-minute", number if part.steady else f"ca. {beats_a_minute:.0f}")
    _add(direction, "sound", tempo=f"{float(part.meter.beat_quarters) * beats_a_minute:.4f}")


def _content(measure: ET.Element, part: Part, bar: ScoreBar, accidentals: Accidentals, divisions: int) -> None:
    if not bar.notes:
        for chord in bar.chords:
            _harmony(measure, chord, chord.onset, divisions)
        whole = _add(measure, "note")
        _add(whole, "rest", measure="yes")
        _add(whole, "duration", int(part.meter.bar_quarters * divisions))
    chords = list(bar.chords)
    for note, beams in zip(bar.notes, beam_levels(bar.notes, part.meter), strict=True):
        while chords and chords[0].onset < note.onset + note.quarters:
            chord = chords.pop(0)
            _harmony(measure, chord, chord.onset - note.onset, divisions)
        write_before(measure, note)
        element = _note(measure, note, divisions, octave_shift=_CLEFS[part.instrument.clef][2])
        _looks(element, note, beams, accidentals.sign(note))
        write_after(measure, note)
    accidentals.next_bar()


def _harmony(measure: ET.Element, chord: ScoreChord, offset: Fraction, divisions: int) -> None:
    harmony = _add(measure, "harmony")
    if chord.text == "N.C.":
        _add(_add(harmony, "root"), "root-step", "C").set("text", "")
        _add(harmony, "kind", "none", text="N.C.")
    else:
        root, kind, bass = chord_parts(chord.text)
        _step(_add(harmony, "root"), "root", root)
        _add(harmony, "kind", _KINDS.get(kind, "other"), text=kind)
        if bass:
            _step(_add(harmony, "bass"), "bass", bass)
    if offset:
        _add(harmony, "offset", int(offset * divisions))


def _step(parent: ET.Element, prefix: str, name: str) -> None:
    _add(parent, f"{prefix}-step", name[0])
    alter = name.count("#") - name.count("b")
    if alter:
        _add(parent, f"{prefix}-alter", alter)


def _note(measure: ET.Element, note: ScoreNote, divisions: int, *, octave_shift: int) -> ET.Element:
    """What a note sounds like: pitch, length and ties."""
    element = _add(measure, "note")
    if note.pitch is None:
        _add(element, "rest")
    else:
        _pitch(element, note.pitch, octave_shift)
    _add(element, "duration", int(note.quarters * divisions))
    for kind in _ties(note):
        _add(element, "tie", type=kind)
    _add(element, "voice", 1)
    return element


def _looks(element: ET.Element, note: ScoreNote, beams: Sequence[str], accidental: str | None) -> None:
    """What a note looks like: value, accidental, beams, and the signs on it."""
    scale = Fraction(note.tuplet.actual, note.tuplet.normal) if note.tuplet else Fraction(1)
    value, dots = note_value(note.quarters * scale)
    _add(element, "type", value)
    for _ in range(dots):
        _add(element, "dot")
    if accidental:
        _add(element, "accidental", accidental)
    if note.tuplet:
        modification = _add(element, "time-modification")
        _add(modification, "actual-notes", note.tuplet.actual)
        _add(modification, "normal-notes", note.tuplet.normal)
    for number, state in enumerate(beams, start=1):
        _add(element, "beam", state, number=str(number))
    _notations(element, note, beamed=bool(beams))


def _ties(note: ScoreNote) -> list[str]:
    return [kind for kind, wanted in (("stop", note.tied_from_before), ("start", note.tied_to_next)) if wanted]


def _pitch(element: ET.Element, pitch: Spelling, octave_shift: int) -> None:
    child = _add(element, "pitch")
    _add(child, "step", pitch.step)
    if pitch.alter:
        _add(child, "alter", pitch.alter)
    _add(child, "octave", pitch.octave + octave_shift)


def _notations(element: ET.Element, note: ScoreNote, *, beamed: bool) -> None:
    tuplet, ties = note.tuplet, _ties(note)
    ends: list[str] = [kind for kind in ("start", "stop") if tuplet and getattr(tuplet, f"{kind}s")]
    if not (ties or ends or has_notations(note)):
        return
    notations = _add(element, "notations")
    for kind in ties:
        _add(notations, "tied", type=kind)
    for kind in ends:
        attributes = {"type": kind, "number": "1"}
        if kind == "start":
            attributes["bracket"] = "no" if beamed else "yes"
        _add(notations, "tuplet", **attributes)
    write_notations(notations, note)
