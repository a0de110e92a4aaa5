"""The marks of a note as MusicXML 4.0: articulations, bowings and slurs on it, dynamics and wedges beside it."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from obbligato.music.marks import Sign
from obbligato.page.part_score import ScoreNote

_ELEMENTS: dict[Sign, tuple[str, str]] = {
    "staccato": ("articulations", "staccato"),
    "staccatissimo": ("articulations", "staccatissimo"),
    "tenuto": ("articulations", "tenuto"),
    "accent": ("articulations", "accent"),
    "marcato": ("articulations", "strong-accent"),
    "up-bow": ("technical", "up-bow"),
    "down-bow": ("technical", "down-bow"),
}
"""Each sign's group and element in MusicXML 4.0 (data types `articulations` and `technical`)."""


def has_notations(note: ScoreNote) -> bool:
    """Whether anything of a note's marks is written on the note itself."""
    marks = note.marks
    return bool(marks.signs or marks.slur_starts or marks.slur_stops or note.breath_after)


def write_notations(notations: ET.Element, note: ScoreNote) -> None:
    """The slurs, articulations, bowings and the breath of a note."""
    for kind, wanted in (("stop", note.marks.slur_stops), ("start", note.marks.slur_starts)):
        if wanted:
            ET.SubElement(notations, "slur", type=kind, number="1")
    named = [_ELEMENTS[sign] for sign in note.marks.signs]
    if note.breath_after:
        named.append(("articulations", "breath-mark"))
    for group in ("articulations", "technical"):
        elements = [element for name, element in named if name == group]
        if elements:
            parent = ET.SubElement(notations, group)
            for element in elements:
                ET.SubElement(parent, element)


def write_before(measure: ET.Element, note: ScoreNote) -> None:
    """The dynamic, and the wedge that begins with a note."""
    if note.marks.level:
        ET.SubElement(ET.SubElement(_direction(measure), "dynamics"), note.marks.level)
    if note.marks.swell_starts:
        ET.SubElement(_direction(measure), "wedge", type=note.marks.swell_starts)


def write_after(measure: ET.Element, note: ScoreNote) -> None:
    """The end of a wedge."""
    if note.marks.swell_stops:
        ET.SubElement(_direction(measure), "wedge", type="stop")


def _direction(measure: ET.Element) -> ET.Element:
    return ET.SubElement(ET.SubElement(measure, "direction", placement="below"), "direction-type")
