"""The chart as the page gets it: what there is to draw, and where."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel

from obbligato.desk.chart_remarks import RemarkView
from obbligato.desk.chart_words import Question
from obbligato.music.spans import OpeningKind


class ChordView(BaseModel):
    """A chord symbol at a beat of its bar (the first is 0); `held` where it only goes on from the bar before."""

    beat: int
    sounding: str
    written: str
    held: bool


class KeyView(BaseModel):
    """A key that begins in this bar."""

    sounding: str
    written: str


class OpeningPart(BaseModel):
    """What of an opening lies in a bar: from and to as shares of the bar."""

    index: int
    start: float
    end: float


class BarView(BaseModel):
    """A bar; `voice` holds the stretches that are sung, as shares of the bar."""

    number: int
    start_s: float
    end_s: float
    beats_s: list[float]
    section: str
    chords: list[ChordView]
    voice: list[tuple[float, float]]
    openings: list[OpeningPart]
    count_in: bool
    key: KeyView | None


class OpeningView(BaseModel):
    """Room that the singer leaves."""

    index: int
    letter: str
    start_s: float
    end_s: float
    first_bar: int
    last_bar: int
    beats: float
    kind: OpeningKind
    sentence: str


class NoteView(BaseModel):
    """A note of the line, as performed; pitches are MIDI numbers."""

    index: int
    onset_beat: float
    duration_beats: float
    pitch: int
    written: int
    start_s: float
    end_s: float
    bar: int


class PhraseView(BaseModel):
    """Notes played in one breath."""

    index: int
    first_note: int
    last_note: int
    first_bar: int
    last_bar: int
    start_s: float
    end_s: float


class LineView(BaseModel):
    """The newest version of the line."""

    version: int
    notes: list[NoteView]
    phrases: list[PhraseView]


class MeterView(BaseModel):
    """The metre: beats a bar, what a beat is, and the signature as written."""

    beats_per_bar: int
    unit: str
    signature: str
    confidence: float


class TempoView(BaseModel):
    """The tempo in beats of the metre a minute."""

    bpm: float
    steady: bool
    confidence: float
    alternatives: list[float]


class TuningView(BaseModel):
    """The song's own pitch."""

    a4_hz: float
    cents: float


class CountInView(BaseModel):
    """Clicks before the music."""

    start_s: float
    end_s: float
    clicks: int
    bars: float


class CorrectedView(BaseModel):
    """What was put right by hand, in words and as kept, and whether the last change can be taken back."""

    words: str
    can_undo: bool
    values: dict[str, Any]


class ChartView(BaseModel):
    """The whole chart; `state` says whether nothing, only the tempo, or everything has been heard."""

    state: Literal["none", "tempo", "whole"]
    stamp: str
    title: str
    duration_s: float | None = None
    sentences: list[str] = []
    questions: list[Question] = []
    corrected: CorrectedView
    meter: MeterView | None = None
    tempo: TempoView | None = None
    tuning: TuningView | None = None
    count_in: CountInView | None = None
    bars: list[BarView] = []
    openings: list[OpeningView] = []
    line: LineView | None = None
    remarks: list[RemarkView] = []
