"""What is said about a line before it is played: sentences first, the numbers beside them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from obbligato.music.grid import Grid

Severity = Literal["stop", "look", "note"]
RemarkKind = Literal["range", "weak", "breath", "bow", "lip", "leap", "fingers", "voice", "clash", "openings"]

_EARLY_BEATS = 0.1


@dataclass(frozen=True)
class Fix:
    """A way out that was tried: in words, and as an edit of the line (`breathe 12:3 0.5`)."""

    words: str
    edit: str


@dataclass(frozen=True)
class Remark:
    """One remark.

    Attributes
    ----------
    kind
        What it is about.
    severity
        `stop`: it cannot be played as it stands; `look`: it deserves a look; `note`: good to know.
    first_bar, last_bar
        Where it applies.
    sentence
        For the player: place, what is the matter, what to do.
    numbers
        What it rests on, unit in the name.
    note
        Index of the note where it fails, where there is one.
    fixes
        Edits with which it passes.
    """

    kind: RemarkKind
    severity: Severity
    first_bar: int
    last_bar: int
    sentence: str
    numbers: Mapping[str, float] = field(default_factory=dict)
    note: int | None = None
    fixes: tuple[Fix, ...] = ()


def bar_of(grid: Grid, beat: float) -> int:
    """Bar of a place as played; a little early still counts as the bar it is meant for."""
    return grid.beat_to_position(beat + _EARLY_BEATS).bar


def place_text(grid: Grid, beat: float) -> str:
    """Bar and beat in words, the beat in whole numbers."""
    position = grid.beat_to_position(beat + _EARLY_BEATS)
    return f"bar {position.bar} beat {int(position.beat)}"


def edit_place(grid: Grid, beat: float) -> tuple[str, float]:
    """Bar and beat to a thousandth, as an edit names a note, and the beat of the grid that this is."""
    position = grid.beat_to_position(beat)
    rounded = round(position.beat, 3)
    return f"{position.bar}:{rounded:g}", grid.bar_to_beat(position.bar, rounded)


def bars_text(bars: Iterable[int]) -> str:
    """Bar numbers in words, runs drawn together.

    >>> bars_text([4, 5, 6, 9]), bars_text([7])
    ('bars 4-6, 9', 'bar 7')
    """
    numbers = sorted(set(bars))
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    text = ", ".join(f"{a}" if a == b else f"{a}-{b}" for a, b in runs)
    return ("bar " if len(numbers) == 1 else "bars ") + text
