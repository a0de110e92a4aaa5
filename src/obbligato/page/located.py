"""Engraved rows for a screen: each with the places of its bars and symbols, so that they can be followed and picked.

The drawing takes its colour from where it is shown (`currentColor`) and its size from its `viewBox`; the words in it
are text, with a class for what they are, to be set in the fonts of the page that shows it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from xml.etree import ElementTree as ET

from obbligato.music.instruments import Instrument, Interval
from obbligato.page.engrave import Label, Row, engrave
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part_score import Part, ScoreBar, with_closed_marks

STAVE = 80.0
"""Height of a stave in the units of a row's drawing: twenty for each space between its lines."""

_STAVE_MM = 8.0
"""With ten units to a millimetre, as the engraver counts, a stave is `STAVE` units high."""
_SVG = "http://www.w3.org/2000/svg"
_HREF = "{http://www.w3.org/1999/xlink}href"
_WORDS = {"harm": ("chord", 38.0), "reh": ("letter", 40.0), "dir": ("words", 30.0)}
"""Kinds of words that are shown, their class, and the size of their letters in units of the drawing."""
_SIGN_OF_GLYPH = {"\uea64": "♭", "\uea65": "♮", "\uea66": "♯", "\ue260": "♭", "\ue261": "♮", "\ue262": "♯"}
_AFTER_SIGNS = 252.0
"""Room after the clef and the signs at the head of a row, in the engraver's own units: a stave is 720 high."""
_HEAD_SIGNS = ("clef", "keySig", "meterSig")


@dataclass(frozen=True)
class Symbol:
    """A note or rest in a row.

    Attributes
    ----------
    beat
        Place in the song as written, in beats from bar 1.
    x
        Left edge of its head, in units of the drawing.
    note
        Index of the note in the line; None for a rest. A tied note has a symbol for each of its heads.
    """

    beat: float
    x: float
    note: int | None


@dataclass(frozen=True)
class RowBar:
    """A bar in a row, or the `bars` bars of a multi-bar rest: its left and right edge, where its music begins."""

    number: int
    bars: int
    left: float
    right: float
    music_left: float
    symbols: tuple[Symbol, ...]


@dataclass(frozen=True)
class LocatedRow:
    """A row: its drawing as SVG, its size and the top line of its stave in units of the drawing, and its bars."""

    svg: str
    width: float
    height: float
    stave_top: float
    bars: tuple[RowBar, ...]


def located_rows(
    part: Part, *, starts: Sequence[int], width_staves: float, first_note: int = 0
) -> tuple[LocatedRow, ...]:
    """Engrave a part, or the stretch of one that `stretch` cuts out, in rows for a screen.

    Parameters
    ----------
    starts
        Numbers of the bars that begin a row.
    width_staves
        Width of a row in heights of the stave.
    first_note
        Index in the line of the first note that begins in the part.
    """
    shown = _shown(part.bars)
    musicxml = part_musicxml(part, row_starts=starts)
    if shown[0].number > 1:
        musicxml = musicxml.replace("<time>", '<time print-object="no">')
    rows = engrave(musicxml, width_mm=width_staves * _STAVE_MM, stave_height_mm=_STAVE_MM)
    firsts = [index for index, bar in enumerate(shown) if index == 0 or bar.number in starts]
    indices = _note_indices(part, first_note)
    located = []
    for row, first, stop in zip(rows, firsts, [*firsts[1:], len(shown)], strict=True):
        located.append(_located(row, shown[first:stop], indices, part, suffix=f"b{shown[first].number}"))
    return tuple(located)


def stretch(part: Part, first_bar: int, last_bar: int) -> Part:
    """The bars `first_bar` to `last_bar` of a part, in the key and clef that are in force there."""
    key, clef = part.key, part.instrument.clef
    for bar in part.bars:
        if bar.number <= first_bar:
            key, clef = bar.key or key, bar.clef or clef
    first, *others = [bar for bar in part.bars if first_bar <= bar.number <= last_bar]
    bars = with_closed_marks((replace(first, key=None, clef=None), *others))
    return replace(part, instrument=replace(part.instrument, clef=clef), key=key, bars=bars)


def first_note_index(part: Part, first_bar: int) -> int:
    """How many notes of the line begin before a bar."""
    before = (bar for bar in part.bars if bar.number < first_bar)
    return sum(note.pitch is not None and not note.tied_from_before for bar in before for note in bar.notes)


def written_notes(part: Part) -> tuple[tuple[int, float, str], ...]:
    """Bar, place in beats from bar 1, and name of every note of a part that shows all its bars."""
    return tuple(
        (
            bar.number,
            (bar.number - 1) * part.meter.beats_per_bar + float(note.onset / part.meter.beat_quarters),
            str(note.pitch),
        )
        for bar in part.bars
        for note in bar.notes
        if note.pitch is not None and not note.tied_from_before
    )


def in_sounding_pitch(instrument: Instrument) -> Instrument:
    """The instrument with its part in sounding pitch; one read in a clef an octave up stays in that clef."""
    octaves = -1 if instrument.clef == "treble8vb" else 0
    return replace(instrument, transposition=Interval(octaves=octaves))


def _shown(bars: Sequence[ScoreBar]) -> list[ScoreBar]:
    shown, covered = [], 0
    for bar in bars:
        if covered == 0:
            shown.append(bar)
            covered = bar.rest_bars
        covered = max(0, covered - 1)
    return shown


def _note_indices(part: Part, first_note: int) -> dict[tuple[int, Fraction], int]:
    """The line's note by the bar and place of each of its symbols."""
    indices = {}
    count = first_note - 1
    for bar in part.bars:
        for note in bar.notes:
            if note.pitch is not None:
                count += not note.tied_from_before
                indices[bar.number, note.onset] = count
    return indices


def row_bars(root: ET.Element, width: float, bars: Sequence[ScoreBar], part: Part) -> tuple[RowBar, ...]:
    """Where the bars and symbols of an engraved row are, the row being `width` units wide.

    Each note's group in the drawing `root` is told which note of the line it is (`data-note`).
    """
    return _row_bars(root, width, bars, _note_indices(part, 0), part)


def _row_bars(
    root: ET.Element, width: float, bars: Sequence[ScoreBar], indices: dict[tuple[int, Fraction], int], part: Part
) -> tuple[RowBar, ...]:
    drawing = next(element for element in root.iter(f"{{{_SVG}}}svg") if "viewBox" in element.attrib)
    scale = width / float(drawing.attrib["viewBox"].split()[2])
    found = []
    for measure, bar in zip(_of_class(root, "measure"), bars, strict=True):
        symbols = _symbols(measure, bar, indices, part, scale)
        found.append(_bar(measure, bar, symbols, scale, first=bar is bars[0]))
    return tuple(found)


def _located(
    row: Row, bars: Sequence[ScoreBar], indices: dict[tuple[int, Fraction], int], part: Part, *, suffix: str
) -> LocatedRow:
    root = ET.fromstring(row.svg)
    drawing = next(element for element in root.iter(f"{{{_SVG}}}svg") if "viewBox" in element.attrib)
    width, height = row.width_mm * 10, row.height_mm * 10
    found = _row_bars(root, width, bars, indices, part)
    _tidy(root, drawing, suffix=suffix)
    root.attrib.clear()
    root.set("viewBox", f"0 0 {width:g} {height:g}")
    root.set("class", "engraved")
    for label in row.labels:
        _add_words(root, label)
    return LocatedRow(ET.tostring(root, encoding="unicode"), width, height, row.stave_y_mm * 10, found)


def _symbols(
    measure: ET.Element, bar: ScoreBar, indices: dict[tuple[int, Fraction], int], part: Part, scale: float
) -> tuple[Symbol, ...]:
    start = (bar.number - 1) * part.meter.beats_per_bar
    drawn = [element for element in measure.iter() if element.get("class") in ("note", "rest")]
    symbols = []
    for element, note in zip(drawn, bar.notes, strict=True):
        index = indices.get((bar.number, note.onset))
        if index is not None:
            element.set("data-note", str(index))
        beat = start + float(note.onset / part.meter.beat_quarters)
        symbols.append(Symbol(round(beat, 6), round(_left(element) * scale, 2), index))
    return tuple(symbols)


def _bar(measure: ET.Element, bar: ScoreBar, symbols: tuple[Symbol, ...], scale: float, *, first: bool) -> RowBar:
    stave = next(_of_class(measure, "staff"))
    line = next(path for path in stave.findall(f"{{{_SVG}}}path"))
    left, _, right, _ = (float(n) for n in re.findall(r"-?[\d.]+", line.attrib["d"]))
    layer = next(_of_class(stave, "layer"), None)
    inside = set() if layer is None else set(layer.iter())
    groups = [group for name in _HEAD_SIGNS for group in _of_class(stave, name) if group not in inside]
    signs = [_left(use) for group in groups for use in _uses(group)]
    after = (max(signs) + _AFTER_SIGNS if signs and first else left + _AFTER_SIGNS / 2) * scale
    music_left = min(after, symbols[0].x) if symbols else after
    return RowBar(
        bar.number,
        max(1, bar.rest_bars),
        round(left * scale, 2),
        round(right * scale, 2),
        round(music_left, 2),
        symbols,
    )


def _tidy(root: ET.Element, drawing: ET.Element, *, suffix: str) -> None:
    """Leave out what a screen does not need, and give the glyphs names of this row's own."""
    for element in root.iter():
        for child in list(element):
            if child.tag in (f"{{{_SVG}}}desc", f"{{{_SVG}}}style") or "placeholder" in child.get("class", ""):
                element.remove(child)
        if element.tag == f"{{{_SVG}}}use":
            element.set("href", f"{element.attrib.pop(_HREF).rpartition('-')[0]}-{suffix}")
    for group in root.findall(f"{{{_SVG}}}defs/{{{_SVG}}}g"):
        group.set("id", f"{group.attrib['id'].rpartition('-')[0]}-{suffix}")
    for element in drawing.iter():
        element.attrib.pop("id", None)
    drawing.attrib.pop("color", None)
    drawing.attrib.pop("font-family", None)


def _add_words(root: ET.Element, label: Label) -> None:
    kind, size = _WORDS.get(label.kind, ("", 0.0))
    words = "".join(_run_text(run.text, run.music) for run in label.runs).strip()
    if not kind or not words:
        return
    if kind == "chord":
        words = re.sub(r"[b#](?=\d)", lambda sign: {"b": "♭", "#": "♯"}[sign[0]], words)
    text = ET.SubElement(root, f"{{{_SVG}}}text", {"class": kind, "font-size": f"{size:g}"})
    text.set("x", f"{label.x_mm * 10:.1f}")
    text.set("y", f"{label.y_mm * 10:.1f}")
    text.set("text-anchor", label.anchor)
    text.text = words


def _run_text(text: str, music: bool) -> str:
    return "".join(_SIGN_OF_GLYPH.get(character, "") for character in text) if music else text


def _of_class(element: ET.Element, name: str) -> Iterator[ET.Element]:
    return (child for child in element.iter() if (child.get("class") or "").split()[:1] == [name])


def _uses(element: ET.Element) -> Iterator[ET.Element]:
    return element.iter(f"{{{_SVG}}}use")


def _left(element: ET.Element) -> float:
    """Left edge of a symbol: where its first glyph stands."""
    glyph = next(_uses(element))
    return float(re.findall(r"-?[\d.]+", glyph.attrib["transform"])[0])
