"""MusicXML to engraved rows of music: drawings without text, and the text beside them.

Verovio draws the music. Its words (chords, tempo, bar numbers, letters) would be set in whatever font a viewer
happens to have, so they are taken out of the drawing and handed over with their places, to be set by the page in
fonts of its own.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from xml.etree import ElementTree as ET

from obbligato.errors import InputError
from obbligato.page.engraver import drawings
from obbligato.page.part_print import STAVE_HEIGHT_MM

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
_MUSIC_FONT = "Leipzig"
_UNITS_PER_EM = 1000
_UNIT_PX = 9.0
"""Half a space of the stave in pixels of the drawing. The engraver takes few other values, so the page is scaled."""
_STAVE_UNITS = 8
_SEED = 1
_BREATH_ROOM_MM = 2.5
"""Kept free right of the stave for a breath mark that hangs over the last bar line."""
_PRIVATE_USE = range(0xE000, 0xF900)


@dataclass(frozen=True)
class Run:
    """Characters of one look; `music` characters are SMuFL code points to be drawn from their outlines."""

    text: str
    music: bool


@dataclass(frozen=True)
class Label:
    """Words in a row: what they are (`harm`, `tempo`, `reh`, `dir` ...), the baseline's place in mm, the runs."""

    kind: str
    x_mm: float
    y_mm: float
    anchor: str
    runs: tuple[Run, ...]


@dataclass(frozen=True)
class Row:
    """One row of music: its drawing as SVG, its size, where the stave's top line lies, and its words."""

    svg: str
    width_mm: float
    height_mm: float
    stave_y_mm: float
    labels: tuple[Label, ...]


def engrave(
    musicxml: str,
    *,
    width_mm: float,
    stave_height_mm: float = STAVE_HEIGHT_MM,
    spread: float = 1.0,
    strokes: Iterable[tuple[str, float]] = (),
) -> tuple[Row, ...]:
    """Engrave a single part in rows of a given width, broken where the document says; same input, same rows.

    Parameters
    ----------
    musicxml
        A partwise document.
    width_mm
        Width of a row.
    spread
        Width of the music for the height of its stave, against the usual.
    strokes
        Thickness of lines, stems and slurs by the engraver's names, in half spaces of the stave.

    Raises
    ------
    InputError
        When the document cannot be read as music.
    """
    px_per_mm = _STAVE_UNITS * _UNIT_PX / stave_height_mm
    options = {
        "adjustPageHeight": True,
        "breaks": "line",
        "font": _MUSIC_FONT,
        "footer": "none",
        "header": "none",
        "justifyVertically": False,
        "minLastJustification": 0.6,
        "multiRestStyle": "block",
        "pageHeight": 60_000,
        "pageMarginBottom": 0,
        "pageMarginLeft": 0,
        "pageMarginRight": round(_BREATH_ROOM_MM * px_per_mm),
        "pageMarginTop": 0,
        "pageWidth": round(width_mm * px_per_mm),
        "smuflTextFont": "none",
        "spacingLinear": 0.3 * spread,
        "spacingNonLinear": 0.55,
        "systemMaxPerPage": 1,
        "unit": _UNIT_PX,
        "xmlIdSeed": _SEED,
        **dict(strokes),
    }
    refusal = "The part could not be engraved; open its MusicXML in a notation editor to see why."
    return tuple(_row(svg, px_per_mm) for svg in drawings(musicxml, options, refusal=refusal))


@cache
def glyph_svg(character: str) -> tuple[str, float]:
    """Outline of a SMuFL character as an SVG one em high, and its advance width in ems.

    The em's box runs from half an em below the baseline to one em above it.

    Raises
    ------
    InputError
        When the music font has no such character.
    """
    import verovio

    path = Path(verovio.__file__).parent / "data" / _MUSIC_FONT / f"{ord(character):04X}.xml"
    if not path.is_file():
        raise InputError(f"The music font has no character U+{ord(character):04X}.")
    symbol = ET.parse(path).getroot()
    outline = next(element for element in symbol.iter() if element.tag.endswith("path"))
    box = ET.parse(path.parent.with_suffix(".xml")).getroot()
    advance = next(float(g.get("h-a-x", 0)) for g in box.iter("g") if g.get("c") == f"{ord(character):04X}")
    svg = (
        f'<svg xmlns="{_SVG}" viewBox="0 {-_UNITS_PER_EM} {math.ceil(advance)} {1.5 * _UNITS_PER_EM:.0f}">'
        f'<path transform="scale(1,-1)" d="{outline.get("d")}"/></svg>'
    )
    return svg, advance / _UNITS_PER_EM


def _row(svg: str, px_per_mm: float) -> Row:
    ET.register_namespace("", _SVG)
    ET.register_namespace("xlink", _XLINK)
    root = ET.fromstring(svg)
    width_px, height_px = (float(root.attrib[name].removesuffix("px")) for name in ("width", "height"))
    inner = next(element for element in root.iter(f"{{{_SVG}}}svg") if "viewBox" in element.attrib)
    user_per_mm = float(inner.attrib["viewBox"].split()[2]) / (width_px / px_per_mm)
    labels: list[Label] = []
    _take_labels(root, (0.0, 0.0), "", user_per_mm, labels)
    stave = next(g for g in root.iter(f"{{{_SVG}}}g") if g.get("class") == "staff")
    top_line = min(float(re.split(r"[ML ,]+", path.attrib["d"])[2]) for path in stave.findall(f"{{{_SVG}}}path"))
    return Row(
        ET.tostring(root, encoding="unicode"),
        width_px / px_per_mm,
        height_px / px_per_mm,
        top_line / user_per_mm,
        tuple(labels),
    )


def _take_labels(
    element: ET.Element, origin: tuple[float, float], kind: str, user_per_mm: float, labels: list[Label]
) -> None:
    """Remove every text below `element`, noting its place; `origin` is where its coordinates start."""
    shift = re.fullmatch(r"translate\(([-\d.]+)[ ,]+([-\d.]+)\)", element.get("transform", ""))
    if shift:
        origin = (origin[0] + float(shift[1]), origin[1] + float(shift[2]))
    kind = element.get("class", kind).split()[0] if element.tag == f"{{{_SVG}}}g" and element.get("class") else kind
    for child in list(element):
        if child.tag == f"{{{_SVG}}}text":
            element.remove(child)
            x = (origin[0] + float(child.get("x", 0))) / user_per_mm
            y = (origin[1] + float(child.get("y", 0))) / user_per_mm
            runs = tuple(_runs(child, music=False))
            if runs:
                labels.append(Label(kind, x, y, child.get("text-anchor", "start"), runs))
        else:
            _take_labels(child, origin, kind, user_per_mm, labels)


def _runs(element: ET.Element, *, music: bool) -> list[Run]:
    music = element.get("font-family") == _MUSIC_FONT or (music and "font-family" not in element.attrib)
    runs: list[Run] = []
    pieces = [(element.text, None), *((child.tail, child) for child in element)]
    for tail, child in pieces:
        if child is not None:
            runs += _runs(child, music=music)
        text = tail or ""
        if text.strip() or (text and "\n" not in text):
            glyphs = music and any(ord(c) in _PRIVATE_USE for c in text)
            runs.append(Run(text.strip("\n"), glyphs))
    return runs
