"""How a part is set on paper: for the usual stand, in large print, or for a low-vision reader.

Large print enlarges. The low-vision print does more: the stave grows and the music takes less width for its size,
lines, stems and slurs are thicker, words are bold and without serifs, and the paper may be off-white. That these
help, and plain enlargement less, is advice given to music publishers by those who serve blind readers; the numbers
are ours (common practice, no source), and the size of the stave is the reader's to set.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

from obbligato.errors import InputError
from obbligato.page.documents import Paper, sheet_mm

PrintName = Literal["normal", "large", "low-vision"]

STAVE_HEIGHT_MM = 7.2
"""Height of a stave: common for a single part on a stand is 7 to 8 mm (common practice, no source)."""
SMALLEST_STAVE_MM, LARGEST_STAVE_MM = 5.0, 30.0
_THICKER = (
    ("staffLineWidth", 0.22),
    ("stemWidth", 0.32),
    ("barLineWidth", 0.45),
    ("ledgerLineThickness", 0.36),
    ("slurMidpointThickness", 1.0),
    ("slurEndpointThickness", 0.22),
    ("tieMidpointThickness", 0.9),
    ("tieEndpointThickness", 0.22),
    ("hairpinThickness", 0.36),
    ("tupletBracketThickness", 0.36),
    ("multiRestThickness", 2.6),
)
"""Strokes in units of the engraver, half a space of the stave, about half as thick again as its defaults."""


@dataclass(frozen=True)
class PartPrint:
    """How a part is set.

    Attributes
    ----------
    staves_mm
        Heights of the stave to try in turn until the part fits on two sides; where none does, the first is taken.
    words
        Size of the words against those of the normal print.
    spread
        Width the music takes for the height of its stave, against the normal print.
    strokes
        Thickness of strokes where it differs from the engraver's defaults.
    sans
        Words bold and without serifs.
    """

    name: PrintName
    staves_mm: tuple[float, ...]
    words: float = 1.0
    spread: float = 1.0
    strokes: tuple[tuple[str, float], ...] = ()
    sans: bool = False
    landscape: bool = False
    tinted: bool = False

    def sheet_mm(self, paper: Paper) -> tuple[float, float]:
        """Width and height of the sheet as it stands on the stand, in mm.

        Raises
        ------
        InputError
            When there is no such sheet of paper.
        """
        width, height = sheet_mm(paper)
        return (height, width) if self.landscape else (width, height)


PRINTS: Mapping[PrintName, PartPrint] = MappingProxyType(
    {
        "normal": PartPrint("normal", (STAVE_HEIGHT_MM, 6.8, 6.4)),
        "large": PartPrint("large", (10.0,), words=1.35),
        "low-vision": PartPrint("low-vision", (14.0,), words=1.75, spread=0.8, strokes=_THICKER, sans=True),
    }
)
"""The prints there are; normal staves go down to 6.4 mm where that saves a turn, the others never shrink."""


def part_print(
    name: PrintName = "normal", *, stave_mm: float | None = None, landscape: bool = False, tinted: bool = False
) -> PartPrint:
    """A print with the reader's own wishes.

    Parameters
    ----------
    stave_mm
        Height of the stave, 5 to 30 mm; None leaves the print's own. Words grow and shrink with it.
    landscape
        The sheet across.
    tinted
        An off-white ground, for white paper that glares.

    Raises
    ------
    InputError
        When there is no such print, or the stave is out of bounds.
    """
    if name not in PRINTS:
        raise InputError(f"There is no print '{name}'; choose one of {', '.join(PRINTS)}.")
    chosen = PRINTS[name]
    if stave_mm is not None:
        if not SMALLEST_STAVE_MM <= stave_mm <= LARGEST_STAVE_MM:
            raise InputError(
                f"A stave of {stave_mm:g} mm cannot be read or does not fit; "
                f"give {SMALLEST_STAVE_MM:g} to {LARGEST_STAVE_MM:g} mm, 7 being usual."
            )
        scale = stave_mm / chosen.staves_mm[0]
        chosen = replace(chosen, staves_mm=(stave_mm,), words=chosen.words * max(0.85, scale**0.8))
    return replace(chosen, landscape=landscape, tinted=tinted)
