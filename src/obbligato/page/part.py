"""The page to play from: a part as a PDF, set from its engraved rows."""

from __future__ import annotations

import math
import re
from typing import Any

from obbligato.page.documents import Paper, typeset
from obbligato.page.engrave import Label, Run, glyph_svg
from obbligato.page.part_pages import (
    MARGIN_BOTTOM_MM,
    MARGIN_TOP_MM,
    MARGIN_X_MM,
    Layout,
    PlacedRow,
    Turn,
    lay_out,
)
from obbligato.page.part_print import PRINTS, PartPrint
from obbligato.page.part_score import Part

_SPACE_EMS = 0.12
_SIGNS = {"b": "♭", "#": "♯"}
_CHORD = "harm"
_BAR_NUMBER = "mNum"
"""Bar numbers as the engraver sets them are left out: it drops them beside a letter; the margin holds them all."""
_TEXT_OF_GLYPH = {"\uea64": "♭", "\uea65": "♮", "\uea66": "♯", "\ue260": "♭", "\ue261": "♮", "\ue262": "♯"}


def part_pdf(part: Part, *, paper: Paper = "a4", how: PartPrint = PRINTS["normal"]) -> bytes:
    """A part as a PDF: title, instrument, how to read it, the music, and the version in the foot of each side.

    Parameters
    ----------
    part
        As `make_part` builds it.
    paper
        A4 or US Letter.
    how
        Normal, large or low-vision print, with the reader's own wishes; see `part_print`.

    Raises
    ------
    InputError
        When there is no such sheet of paper.
    """
    return layout_pdf(part, part_layout(part, paper=paper, how=how))


def part_layout(part: Part, *, paper: Paper = "a4", how: PartPrint = PRINTS["normal"]) -> Layout:
    """Where everything of a part lies on paper."""
    lines = [with_signs(part.reading), with_signs(part.first_note), part.lead_in]
    return lay_out(part, paper=paper, how=how, head_lines=lines)


def layout_pdf(part: Part, layout: Layout) -> bytes:
    """A part that is laid out already as a PDF."""
    data = {
        "title": part.heading.title,
        "instrument": with_signs(part.instrument.name) + (", concert pitch" if part.concert else ""),
        "player": part.heading.player,
        "stamp": part.heading.stamp,
        "notes": layout.head_lines,
        "head_height": layout.head_mm,
        "margin_x": MARGIN_X_MM,
        "margin_top": MARGIN_TOP_MM,
        "margin_bottom": MARGIN_BOTTOM_MM,
        "landscape": layout.how.landscape,
        "tinted": layout.how.tinted,
        "sans": layout.how.sans,
        "words": layout.how.words * min(1.0, layout.stave_mm / min(layout.how.staves_mm)),
        "head_words": layout.head_words,
        "turns": {str(turn.after_side): _turn_words(turn) for turn in layout.turns},
        "pages": [[_row_data(placed) for placed in side] for side in layout.sides],
    }
    return typeset("part.typ", data, paper=layout.paper)


def with_signs(text: str) -> str:
    """Note names in a text with real flat and sharp signs.

    >>> with_signs("Flugelhorn in Bb, from F#4")
    'Flugelhorn in B♭, from F♯4'
    """
    return re.sub(r"\b([A-G])([b#])(?=\d|\b|$|\W)", lambda m: m[1] + _SIGNS[m[2]], text)


def chord_with_signs(text: str) -> str:
    """A chord symbol with real flat and sharp signs on its root and bass.

    >>> chord_with_signs("Abmaj7/Eb")
    'A♭maj7/E♭'
    """
    return re.sub(r"(?<![A-Za-z])([A-G])([b#])", lambda m: m[1] + {"b": "♭", "#": "♯"}[m[2]], text)


def _turn_words(turn: Turn) -> str:
    if not turn.good:
        return "no time to turn"
    return "turn" if math.isinf(turn.rest_s) else f"turn: {math.floor(turn.rest_s)} s rest"


def _row_data(placed: PlacedRow) -> dict[str, Any]:
    row = placed.row
    return {
        "svg": row.svg,
        "y": placed.y_mm,
        "width": row.width_mm,
        "height": row.height_mm,
        "stave_y": row.stave_y_mm,
        "labels": [_label_data(label) for label in row.labels if label.kind != _BAR_NUMBER],
        "first_bar": placed.bars[0].number,
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
