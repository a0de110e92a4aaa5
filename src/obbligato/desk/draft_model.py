"""The line being written as the page sends it and gets it back."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from obbligato.music.instruments import Zone
from obbligato.music.line import Note
from obbligato.music.marks import Level, NoteMarks, Sign, Swell

Pitch = Literal["written", "sounding"]

_Beat = Annotated[float, Field(ge=-10_000.0, le=100_000.0, allow_inf_nan=False)]


class MarksView(BaseModel):
    """The marks of a note: see `music.marks.NoteMarks`."""

    model_config = ConfigDict(extra="forbid", from_attributes=True)

    signs: Annotated[tuple[Sign, ...], Field(max_length=20)] = ()
    level: Level | None = None
    swell: Swell | None = None
    slurred: bool = False
    breath: bool = False


class NoteView(BaseModel):
    """A note in sounding pitch, in beats from bar 1."""

    model_config = ConfigDict(extra="forbid")

    onset_beat: _Beat
    duration_beats: Annotated[float, Field(gt=0.0, le=10_000.0, allow_inf_nan=False)]
    pitch: Annotated[int, Field(ge=0, le=127)]
    velocity: Annotated[int, Field(ge=1, le=127)] = 80
    marks: MarksView = MarksView()

    @classmethod
    def of(cls, note: Note) -> NoteView:
        """A note of a line."""
        return cls(
            onset_beat=note.onset_beat,
            duration_beats=note.duration_beats,
            pitch=note.pitch,
            velocity=note.velocity,
            marks=MarksView.model_validate(note.marks),
        )

    def to_note(self) -> Note:
        """The note of a line."""
        return Note(
            self.onset_beat, self.duration_beats, self.pitch, self.velocity, NoteMarks(**self.marks.model_dump())
        )


Notes = Annotated[list[NoteView], Field(max_length=4000)]
_Bar = Annotated[int, Field(ge=-1000, le=10_000)]


class Draft(BaseModel):
    """A draft, and which of its bars are to be engraved how; without bars, all of them."""

    model_config = ConfigDict(extra="forbid")

    notes: Notes
    per_row: Annotated[int, Field(ge=1, le=16)] = 4
    width_staves: Annotated[float, Field(ge=5.0, le=80.0, allow_inf_nan=False)] = 28.0
    pitch: Pitch = "written"
    first_bar: _Bar | None = None
    last_bar: _Bar | None = None


class SymbolView(BaseModel):
    """A note or rest: its place as written in beats from bar 1, its left edge, the index of its note."""

    beat: float
    x: float
    note: int | None


class RowBarView(BaseModel):
    """A bar of a row, or the `bars` bars of a long rest."""

    number: int
    bars: int
    left: float
    right: float
    music_left: float
    symbols: list[SymbolView]


class RowView(BaseModel):
    """A row of music as SVG, in units of which a stave is 80 high."""

    svg: str
    width: float
    height: float
    stave_top: float
    bars: list[RowBarView]


class DraftNoteView(BaseModel):
    """What there is to say about a note.

    `beat` is its place as written, from bar 1; `air` is what is left of a breath when it ends (1 full, below 0 on the
    reserve), `breathed` how much of one came before it.
    """

    written: str
    sounding: str
    beat: float
    bar: int
    zone: Zone
    air: float | None
    breathed: float | None


class FixView(BaseModel):
    """A way out of a remark, in words and as an edit of the line."""

    model_config = ConfigDict(from_attributes=True)

    words: str
    edit: str


class BudgetView(BaseModel):
    """What the line uses of the lip or the bow, of what there is."""

    model_config = ConfigDict(from_attributes=True)

    kind: Literal["lip", "bow"]
    used: float
    allowed: float
    over: bool
    sentence: str


class OpeningHelpView(BaseModel):
    """What helps to write for an opening; pitches are written ones. `sung_before` is None where it is not known."""

    model_config = ConfigDict(from_attributes=True)

    first_bar: int
    last_bar: int
    beats: float
    seconds: float
    breaths: float | None
    chords: tuple[str, ...]
    sung_before: tuple[str, ...] | None
    scale: tuple[str, ...]


class DraftEdit(BaseModel):
    """A draft, and an edit of it in words."""

    model_config = ConfigDict(extra="forbid")

    notes: Notes
    edit: Annotated[str, Field(min_length=1, max_length=2000)]


class RemarkView(BaseModel):
    """A remark of the check."""

    model_config = ConfigDict(from_attributes=True)

    kind: str
    severity: Literal["stop", "look", "note"]
    first_bar: int
    last_bar: int
    sentence: str
    fixes: list[FixView] = []


class DraftView(BaseModel):
    """A draft, engraved and looked at; `first_bar` to `last_bar` are the bars it can show."""

    rows: list[RowView]
    notes: list[DraftNoteView]
    phrases: list[tuple[int, int]]
    remarks: list[RemarkView]
    budgets: list[BudgetView]
    first_bar: int
    last_bar: int
    feel: str


class BarTimes(BaseModel):
    """A bar of the song on the guide's time; `beats_s` has each beat and the next bar line."""

    number: int
    beats_s: list[float]
    section: str


class SheetView(BaseModel):
    """What is needed to write: the song's bars in time, the metre, and a version to go on from."""

    version: int
    notes: list[NoteView]
    beats_per_bar: int
    beat_quarters: float
    compound: bool
    signature: str
    bars: list[BarTimes]
    duration_s: float


class VersionView(BaseModel):
    """A version of the line, and what it changes about the one before, bar by bar."""

    version: int
    given_as: str
    notes: int
    changes: list[str]
