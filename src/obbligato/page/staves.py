"""The line engraved row by row, in bars of one width, to stand under the bars of a chart on a screen.

Space is in proportion to time, so that all bars are equally wide and a place in a bar is at the same share of its
width on every row: what moves over the chart with the music meets each note as it sounds. Clef and key stand left of
the first bar; there are no words, chords or bar numbers, which the chart itself shows.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from typing import Any, Literal
from xml.etree import ElementTree as ET

from obbligato.errors import InputError
from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import Clef, Instrument, Interval, find_instrument
from obbligato.music.line import Line
from obbligato.page.engraver import drawings
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part_make import make_part
from obbligato.page.part_score import Heading, Part, ScoreBar, WrittenKey, with_closed_marks

Pitch = Literal["written", "sounding"]

STAVE_UNITS = 720
"""Height of the five lines in units of the drawings."""
_BAR_STAVES = {2: 6.2, 4: 6.8, 8: 7.2}
"""Width of a bar in heights of the stave, by bars a row: narrow pages have few bars and need the larger notes."""
_AIR = 110.0
"""Bar lines are moved left by this much, so that a note on the first beat does not lean on its bar line."""
_UNIT_PX = 9.0
_UNITS_PER_PX = 10
_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
_LOW_LINE_MIDI = 56
"""A line that lies below this on the whole is read in the bass clef when it is shown as it sounds."""
_KEPT_CLASSES = {"note", "rest", "mRest", "staff", "barLine", "breath", "clef", "keySig"}
_WORDS = tuple(f"{{{_SVG}}}{name}" for name in ("text", "title", "desc"))
_NO_HEADING = Heading("", 0, "", date(2000, 1, 1))


@dataclass(frozen=True)
class StaveNote:
    """Where a note of the line stands in its row: its index, and the middle of its head in the drawing's units."""

    index: int
    x: float
    y: float


@dataclass(frozen=True)
class StaveRow:
    """A row of the line.

    Attributes
    ----------
    first_bar, last_bar
        Its bars.
    svg
        The drawing in `currentColor`; each note's group says which note of the line it is (`data-note`).
    width, height
        Of the drawing, in its units.
    bars_x
        Where the first bar begins and where each bar ends.
    stave_y
        The stave's top line.
    notes
        The heads, in the order of the line; a note tied on has several.
    """

    first_bar: int
    last_bar: int
    svg: str
    width: float
    height: float
    bars_x: tuple[float, ...]
    stave_y: float
    notes: tuple[StaveNote, ...]


def engrave_rows(
    line: Line,
    song: SongMap,
    instrument: Instrument,
    *,
    rows: Sequence[tuple[int, int]],
    per_row: int = 4,
    pitch: Pitch = "written",
) -> tuple[StaveRow, ...]:
    """Engrave a line in given rows; a row in which the line has no note is left out.

    Parameters
    ----------
    rows
        First and last bar of each row; see `chart_rows`.
    per_row
        Bars in a full row: 2, 4 or 8; decides how wide bars are for the size of the stave.
    pitch
        As the player reads it, or as it sounds.

    Raises
    ------
    InputError
        When more notes fall into a beat than can be written, or the engraver refuses the line.
    """
    reader = instrument if pitch == "written" else _at_pitch(instrument, line)
    # Bars of one width have no room for a change of clef: the line stays in the clef it is written in as a rule.
    part = replace(make_part(line, song, reader, _NO_HEADING), instrument=reader)
    bars = {bar.number: bar for bar in part.bars}
    indices = _note_indices(part.bars)
    engraved = []
    for first, last in rows:
        shown = [bars[number] for number in range(first, last + 1) if number in bars]
        if any(note.pitch for bar in shown for note in bar.notes):
            shown = [bars.get(number, ScoreBar(number)) for number in range(first, last + 1)]
            engraved.append(_engrave_row(_row_part(part, shown), per_row, indices))
    return tuple(engraved)


def _at_pitch(instrument: Instrument, line: Line) -> Instrument:
    """The instrument for a reader of sounding pitch."""
    middle = sorted(note.pitch for note in line.notes)[len(line.notes) // 2]
    clef: Clef = "bass" if middle < _LOW_LINE_MIDI else "treble"
    return replace(instrument, transposition=Interval(), clef=clef)


def _note_indices(bars: Sequence[ScoreBar]) -> dict[int, list[int]]:
    """By bar, the index into the line of each head in it."""
    index, found = -1, {}
    for bar in bars:
        heads = []
        for note in bar.notes:
            if note.pitch is not None:
                index += 0 if note.tied_from_before else 1
                heads.append(index)
        found[bar.number] = heads
    return found


def _row_part(part: Part, bars: Sequence[ScoreBar]) -> Part:
    """The part with only these bars in it, without words, under the key that is in force where they begin."""
    key = part.key
    for bar in part.bars:
        if bar.number > bars[0].number:
            break
        key = bar.key or key
    plain = tuple(
        replace(
            bar,
            chords=(),
            rehearsal="",
            rest_bars=0,
            key=bar.key if index else None,
            clef=None,
            tempo=None,
            cue="",
        )
        for index, bar in enumerate(bars)
    )
    return replace(part, key=key, bars=with_closed_marks(plain))


def _engrave_row(part: Part, per_row: int, indices: dict[int, list[int]]) -> StaveRow:
    bar_width = STAVE_UNITS * _BAR_STAVES.get(per_row, _BAR_STAVES[4])
    head = _head_width(part.key, part.instrument.clef)
    root = _drawing(part, head + len(part.bars) * bar_width)
    inner = _inner(root)
    ends = _bar_ends(inner)
    if len(ends) != len(part.bars):
        raise InputError("The line could not be engraved in the song's bars; look at its rhythm there.")
    ends = _with_air(inner, ends)
    _, _, width, height = (float(number) for number in inner.attrib["viewBox"].split())
    heads = [index for bar in part.bars for index in indices.get(bar.number, [])]
    notes = _marked_notes(inner, heads)
    return StaveRow(
        first_bar=part.bars[0].number,
        last_bar=part.bars[-1].number,
        svg=_lean_svg(root, inner, f"r{part.bars[0].number}"),
        width=width,
        height=height,
        bars_x=(head, *ends),
        stave_y=_stave_y(inner),
        notes=notes,
    )


@cache
def _head_width(key: WrittenKey, clef: Clef) -> float:
    """Width of clef and key before the first bar: what a first bar is wider than the second."""
    part = Part(
        heading=_NO_HEADING,
        instrument=replace(find_instrument("Flute"), clef=clef),
        meter=Meter(),
        grid=Grid.steady(60.0, 0.0, Meter()),
        key=key,
        beats_a_minute=60.0,
        steady=True,
        feel="",
        lead_in="",
        first_note="",
        bars=(ScoreBar(1), ScoreBar(2)),
    )
    first, second = _bar_ends(_inner(_drawing(part, 20.0 * STAVE_UNITS)))
    return first - (second - first)


def _drawing(part: Part, width: float) -> ET.Element:
    """One row as Verovio draws it, `width` units wide.

    It fills a row to its width only where the document itself breaks it, so an empty bar follows on a row after.
    """
    after = ScoreBar(part.bars[-1].number + 1)
    document = part_musicxml(replace(part, bars=(*part.bars, after)), row_starts=[after.number])
    options = {
        "adjustPageHeight": True,
        "breaks": "line",
        "font": "Leipzig",
        "footer": "none",
        "header": "none",
        "justifyVertically": False,
        "minLastJustification": 0.0,
        "pageHeight": 60_000,
        "pageMarginBottom": 0,
        "pageMarginLeft": 0,
        "pageMarginRight": 0,
        "pageMarginTop": 0,
        "pageWidth": round(width / _UNITS_PER_PX),
        "smuflTextFont": "none",
        "spacingLinear": 0.1,
        "spacingNonLinear": 1.0,
        "systemMaxPerPage": 1,
        "unit": _UNIT_PX,
        "xmlIdSeed": 1,
    }
    refusal = "The line could not be engraved; look at its rhythm."
    return ET.fromstring(drawings(_without_words(document), options, refusal=refusal)[0])


def _without_words(musicxml: str) -> str:
    """The document without tempo words and with its time signature left unprinted."""
    musicxml = re.sub(r"<direction .*?</direction>", "", musicxml, flags=re.S)
    return musicxml.replace("<time>", '<time print-object="no">')


def _inner(root: ET.Element) -> ET.Element:
    return next(element for element in root.iter(f"{{{_SVG}}}svg") if "viewBox" in element.attrib)


def _of_class(root: ET.Element, name: str) -> list[ET.Element]:
    return [g for g in root.iter(f"{{{_SVG}}}g") if name in g.get("class", "").split()]


def _bar_ends(inner: ET.Element) -> list[float]:
    """Where each bar's line stands."""
    return sorted(_rightmost(line) for line in _of_class(inner, "barLine"))


def _rightmost(line: ET.Element) -> float:
    """The rightmost stroke of a bar line."""
    return max(float(re.split(r"[ML ,]+", path.attrib["d"])[1]) for path in line.iter(f"{{{_SVG}}}path"))


def _with_air(inner: ET.Element, ends: Sequence[float]) -> list[float]:
    """Move every bar line away from the note after it, and tell where they are then; the stave is cut at the last."""
    for line in _of_class(inner, "barLine"):
        line.set("transform", f"translate({-_AIR:.0f}, 0)")
    left, top, width, height = inner.attrib["viewBox"].split()
    inner.set("viewBox", f"{left} {top} {float(width) - _AIR:.0f} {height}")
    return [end - _AIR for end in ends]


def _stave_y(inner: ET.Element) -> float:
    stave = _of_class(inner, "staff")[0]
    return min(float(re.split(r"[ML ,]+", path.attrib["d"])[2]) for path in stave.findall(f"{{{_SVG}}}path"))


def _marked_notes(inner: ET.Element, heads: Sequence[int]) -> tuple[StaveNote, ...]:
    """Write each note's index on its group, and tell where its head is."""
    groups = _of_class(inner, "note")
    if len(groups) != len(heads):
        raise InputError("The line could not be engraved note by note; look at its rhythm.")
    notes = []
    for group, index in zip(groups, heads, strict=True):
        group.set("data-note", str(index))
        use = next(use for g in _of_class(group, "notehead") for use in g.iter(f"{{{_SVG}}}use"))
        x, y = (float(n) for n in re.findall(r"-?[\d.]+", use.attrib["transform"].split(")")[0])[:2])
        notes.append(StaveNote(index, x + _HEAD_UNITS / 2.0, y))
    return tuple(notes)


_HEAD_UNITS = 1.18 * STAVE_UNITS / 4.0
"""Width of a black notehead: 1.18 stave spaces (metadata of the SMuFL reference font, `noteheadBlack`)."""


def _lean_svg(root: ET.Element, inner: ET.Element, prefix: str) -> str:
    """The drawing alone: no page, no words, no ids but those of its own glyphs."""
    names = {g.attrib["id"]: f"{prefix}-{g.attrib['id'].partition('-')[0]}" for g in _glyphs(root)}
    look = {"class": "stave", "aria-hidden": "true", "fill": "currentColor", "stroke": "currentColor"}
    lean = ET.Element(f"{{{_SVG}}}svg", {"viewBox": inner.attrib["viewBox"], **look})
    defs = ET.SubElement(lean, f"{{{_SVG}}}defs")
    for glyph in _glyphs(root):
        path = next(glyph.iter(f"{{{_SVG}}}path"))
        ET.SubElement(defs, f"{{{_SVG}}}path", {"id": names[glyph.attrib["id"]], **path.attrib})
    for child in inner:
        lean.append(_lean(child, names))
    ET.register_namespace("", _SVG)
    return ET.tostring(lean, encoding="unicode")


def _glyphs(root: ET.Element) -> list[ET.Element]:
    return [g for defs in root.iter(f"{{{_SVG}}}defs") for g in defs.findall(f"{{{_SVG}}}g")]


def _lean(element: ET.Element, names: dict[str, str]) -> ET.Element:
    attributes: dict[str, Any] = {
        name: value for name, value in element.attrib.items() if name not in ("id", "class", "color", "font-family")
    }
    kept = [name for name in element.get("class", "").split() if name in _KEPT_CLASSES]
    if kept:
        attributes["class"] = " ".join(kept)
    for href in ("href", f"{{{_XLINK}}}href"):
        if href in attributes:
            attributes["href"] = "#" + names.get(attributes.pop(href).lstrip("#"), "")
    copy = ET.Element(element.tag, attributes)
    for child in element:
        if child.tag not in _WORDS and "placeholder" not in child.get("class", ""):
            lean = _lean(child, names)
            if len(lean) or not child.tag.endswith("}g"):
                copy.append(lean)
    return copy
