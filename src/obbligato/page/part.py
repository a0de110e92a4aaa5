"""The page to play from: a part as a PDF, set from its engraved rows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from obbligato.page.documents import Paper, typeset
from obbligato.page.engrave import STAVE_HEIGHT_MM, Label, Row, Run, engrave, glyph_svg
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part_rows import row_starts, shown_bars
from obbligato.page.part_score import Part

SIDES = 2
"""A part for one song lies open on a stand without a turn on one side, or two facing (common practice, no source)."""

_SHEET_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
_MARGIN_X_MM = 15.0
_MARGIN_TOP_MM = 14.0
_MARGIN_BOTTOM_MM = 17.0
_HEAD_MM = 30.0
_GAP_MM = 4.5
_WIDEST_GAP_MM = 8.0
_STAVES_MM = (STAVE_HEIGHT_MM, 6.8, 6.4)
"""Stave heights to try in turn until the part fits on `SIDES`; smaller than the last is not read on a stand."""

_SPACE_EMS = 0.12
_SIGNS = {"b": "♭", "#": "♯"}
_CHORD = "harm"
_BAR_NUMBER = "mNum"
"""Bar numbers as the engraver sets them are left out: it drops them beside a letter; the margin holds them all."""
_TEXT_OF_GLYPH = {"\uea64": "♭", "\uea65": "♮", "\uea66": "♯", "\ue260": "♭", "\ue261": "♮", "\ue262": "♯"}


@dataclass(frozen=True)
class _NumberedRow:
    row: Row
    first_bar: int


@dataclass(frozen=True)
class _PlacedRow:
    row: _NumberedRow
    y_mm: float


def part_pdf(part: Part, *, paper: Paper = "a4") -> bytes:
    """A part as a PDF: title, instrument, how to read it, the music, and the version in the foot of each side.

    Parameters
    ----------
    part
        As `make_part` builds it.
    paper
        A4 or US Letter.

    Raises
    ------
    InputError
        When there is no such sheet of paper.
    """
    width_mm, height_mm = _SHEET_MM.get(paper, _SHEET_MM["a4"])
    row_mm = width_mm - 2 * _MARGIN_X_MM
    room_mm = height_mm - _MARGIN_TOP_MM - _MARGIN_BOTTOM_MM
    pages: list[list[_PlacedRow]] = []
    for stave_mm in _STAVES_MM:
        pages = _paginate(_rows(part, row_mm, stave_mm), room_mm)
        if len(pages) <= SIDES:
            break
    data = {
        "title": part.heading.title,
        "instrument": with_signs(part.instrument.name),
        "player": part.heading.player,
        "stamp": part.heading.stamp,
        "notes": [with_signs(part.reading), with_signs(part.first_note), part.lead_in],
        "head_height": _HEAD_MM,
        "margin_x": _MARGIN_X_MM,
        "margin_top": _MARGIN_TOP_MM,
        "margin_bottom": _MARGIN_BOTTOM_MM,
        "pages": [[_row_data(placed) for placed in page] for page in pages],
    }
    return typeset("part.typ", data, paper=paper)


def with_signs(text: str) -> str:
    """Note names in a text with real flat and sharp signs.

    >>> with_signs("Flugelhorn in Bb, from F#4")
    'Flugelhorn in B♭, from F♯4'
    """
    return re.sub(r"\b([A-G])([b#])(?=\d|\b|$|\W)", lambda m: m[1] + _SIGNS[m[2]], text)


def _rows(part: Part, width_mm: float, stave_mm: float) -> list[_NumberedRow]:
    bars = shown_bars(part)
    first_bars = [bars[start].number for start in row_starts(part, width_staves=width_mm / stave_mm)]
    musicxml = part_musicxml(part, row_starts=first_bars)
    rows = engrave(musicxml, width_mm=width_mm, stave_height_mm=stave_mm)
    return [_NumberedRow(row, number) for row, number in zip(rows, first_bars, strict=True)]


def chord_with_signs(text: str) -> str:
    """A chord symbol with real flat and sharp signs on its root and bass.

    >>> chord_with_signs("Abmaj7/Eb")
    'A♭maj7/E♭'
    """
    return re.sub(r"(?<![A-Za-z])([A-G])([b#])", lambda m: m[1] + {"b": "♭", "#": "♯"}[m[2]], text)


def _paginate(rows: Sequence[_NumberedRow], room_mm: float) -> list[list[_PlacedRow]]:
    """Put rows on pages, from the top, and let a full page's rows spread over it."""
    pages: list[list[_NumberedRow]] = [[]]
    used = _HEAD_MM
    for row in rows:
        if pages[-1] and used + row.row.height_mm > room_mm:
            pages.append([])
            used = 0.0
        pages[-1].append(row)
        used += row.row.height_mm + _GAP_MM
    return [_spread(page, _HEAD_MM if index == 0 else 0.0, room_mm) for index, page in enumerate(pages)]


def _spread(rows: Sequence[_NumberedRow], top_mm: float, room_mm: float) -> list[_PlacedRow]:
    music = sum(row.row.height_mm for row in rows)
    gaps = max(1, len(rows) - 1)
    gap = min(_WIDEST_GAP_MM, max(_GAP_MM, (room_mm - top_mm - music) / gaps))
    placed = []
    for row in rows:
        placed.append(_PlacedRow(row, top_mm))
        top_mm += row.row.height_mm + gap
    return placed


def _row_data(placed: _PlacedRow) -> dict[str, Any]:
    row = placed.row.row
    return {
        "svg": row.svg,
        "y": placed.y_mm,
        "width": row.width_mm,
        "height": row.height_mm,
        "stave_y": row.stave_y_mm,
        "labels": [_label_data(label) for label in row.labels if label.kind != _BAR_NUMBER],
        "first_bar": placed.row.first_bar,
    }


def _label_data(label: Label) -> dict[str, Any]:
    return {
        "kind": label.kind,
        "x": label.x_mm,
        "y": label.y_mm,
        "anchor": label.anchor,
        "runs": [_run_data(run, chord=label.kind == _CHORD) for run in label.runs],
    }


def _run_data(run: Run, *, chord: bool) -> dict[str, Any]:
    if not run.music:
        return {"text": re.sub(r"[b#](?=\d)", lambda m: _SIGNS[m[0]], run.text) if chord else run.text}
    if all(character in _TEXT_OF_GLYPH for character in run.text):
        return {"text": "".join(_TEXT_OF_GLYPH[character] for character in run.text)}
    glyphs = [("", _SPACE_EMS) if character.isspace() else glyph_svg(character) for character in run.text]
    return {"glyphs": [{"svg": svg, "advance": advance} for svg, advance in glyphs]}
