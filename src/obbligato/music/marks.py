"""What is written on a note besides its pitch and length: articulation, slur, loudness, breath.

Every mark belongs to a note and goes with it when the line is changed, so no mark is ever left pointing at nothing. A
slur and a hairpin are runs of notes: each note of a slur but its last is slurred on to the next one, and each note
under a hairpin carries it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

Sign = Literal[
    "staccato",
    "staccatissimo",
    "tenuto",
    "accent",
    "marcato",
    "up-bow",
    "down-bow",
]
Level = Literal["pp", "p", "mp", "mf", "f", "ff"]
Swell = Literal["crescendo", "diminuendo"]

SIGNS: tuple[Sign, ...] = get_args(Sign)
SWELLS: tuple[Swell, ...] = get_args(Swell)
LEVELS: dict[Level, int] = {"pp": 32, "p": 48, "mp": 64, "mf": 80, "f": 96, "ff": 112}
"""MIDI velocities of the marks of loudness: equal steps about a mezzo-forte of 80, the one breath is counted from."""
LEVEL_STEP = 16
"""From one mark of loudness to the next."""


@dataclass(frozen=True)
class NoteMarks:
    """The marks of one note.

    Attributes
    ----------
    signs
        Articulations and bowings, each once, in the order of `SIGNS`.
    level
        How loud the line is from this note on.
    swell
        The hairpin that this note lies under.
    slurred
        Whether a slur goes on from this note to the next.
    breath
        Whether a breath is marked after this note.
    """

    signs: tuple[Sign, ...] = ()
    level: Level | None = None
    swell: Swell | None = None
    slurred: bool = False
    breath: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "signs", tuple(sign for sign in SIGNS if sign in self.signs))


NO_MARKS = NoteMarks()
