"""Stretches of time with a musical meaning, in seconds of the client's file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Mode = Literal["major", "minor"]
OpeningKind = Literal["fill", "break", "feature"]


@dataclass(frozen=True)
class Span:
    """A stretch of time, start included, end excluded."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class KeySpan(Span):
    """A key in force: tonic as C, F#, Bb; mode major or minor."""

    tonic: str
    mode: Mode
    confidence: float


@dataclass(frozen=True)
class ChordSpan(Span):
    """A chord, labelled in the syntax of Harte et al., ISMIR 2005 (`Bb:min7/b3`, `N` for none)."""

    label: str


@dataclass(frozen=True)
class SectionSpan(Span):
    """A section of the form, with the letter a player would write at its head; no two have one label (B, B2)."""

    label: str


@dataclass(frozen=True)
class SungNote(Span):
    """A note of the singer's: sounding MIDI pitch, nearest at the song's tuning."""

    pitch: int


@dataclass(frozen=True)
class Opening(Span):
    """Room that the singer leaves, with the bars it lies in and its length in beats."""

    first_bar: int
    last_bar: int
    beats: float
    kind: OpeningKind


@dataclass(frozen=True)
class SungWords:
    """Words as they are sung from a place of the guide on."""

    at_s: float
    text: str
