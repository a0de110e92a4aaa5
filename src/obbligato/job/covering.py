"""What is covered so far: phrases by takes, from where the takes lie and what is known of them, before any is read.

How a phrase was played is not known here; that is read when the player chooses among takes.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from pydantic import ValidationError

from obbligato.job.mapping import song_map
from obbligato.job.model import Mark, TakeRef
from obbligato.job.recording import RecordingFacts
from obbligato.job.store import JobFolder
from obbligato.job.timing import timed_line
from obbligato.job.writing import current_line
from obbligato.music.remarks import bars_text
from obbligato.sound.files import read_audio
from obbligato.takes.coverage import ENOUGH
from obbligato.takes.readings import TimedLine
from obbligato.units import db_to_amplitude

Cell = Literal["played", "part", "silent", "lost", "no"]
SILENT_DBFS = -60.0
"""Nothing above it within a phrase: nothing was played there (our own; rooms lie below it, notes far above)."""
EDGE_S = 0.1
"""A phrase counts as a whole if this much of an edge is missing."""


@dataclass(frozen=True)
class TakeCover:
    """One take.

    Attributes
    ----------
    cells
        By phrase: played; only in part; silent; on or after lost sound; or not reached.
    begun_at
        When it was begun, for takes recorded here.
    is_placed
        Whether it is known where on the guide's time it lies; without that nothing is said of its phrases.
    """

    number: int
    given_as: str
    seconds: float
    begun_at: datetime | None
    mark: Mark | None
    left_out: bool
    is_placed: bool
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class PhraseCover:
    """One phrase: its bars, and how many takes there are of it that may be used."""

    index: int
    first_bar: int
    last_bar: int
    usable: int


@dataclass(frozen=True)
class Cover:
    """All of it, and in a sentence whether one can pack up."""

    phrases: tuple[PhraseCover, ...]
    takes: tuple[TakeCover, ...]
    sentence: str


def cover(folder: JobFolder) -> Cover:
    """How often each phrase of the newest line was recorded."""
    placed = current_line(folder) if folder.job.lines else None
    song = song_map(folder)
    grid = song.to_grid()
    line = timed_line(placed.line, grid) if placed else None
    spans = tuple(_spans(line)) if line else ()
    takes = tuple(_take(folder, take, spans) for take in folder.job.takes)
    phrases = tuple(
        PhraseCover(
            index,
            grid.position_at(start_s + 0.02).bar,
            grid.position_at(max(start_s, end_s - 0.02)).bar,
            sum(_counts(take) and take.cells[index] == "played" for take in takes),
        )
        for index, (start_s, end_s) in enumerate(spans)
    )
    return Cover(phrases, takes, _sentence(phrases, takes))


def recording_facts(folder: JobFolder, take: TakeRef) -> RecordingFacts | None:
    """What is known of how a take was recorded; None for one that was recorded elsewhere."""
    try:
        document = json.loads(folder.path(take.file).with_suffix(".json").read_bytes())
        return RecordingFacts.model_validate(document["recording"])
    except (OSError, ValueError, KeyError, TypeError, ValidationError):
        return None


def notes_played(folder: JobFolder) -> list[tuple[float, float]]:
    """Start and end of each note of the line in every take recorded here, in seconds of the day's clock (POSIX)."""
    if not folder.job.lines:
        return []
    line = timed_line(current_line(folder).line, song_map(folder).to_grid())
    cut = {take.cut_from for take in folder.job.takes}
    played = []
    for take in folder.job.takes:
        begun_s = _begun_s(folder, take)
        if take.number in cut or begun_s is None or take.starts_at_s is None:
            continue
        ends_at_s = take.starts_at_s + take.frames / take.sample_rate
        for note in line.notes:
            if note.end_s > take.starts_at_s and note.start_s < ends_at_s:
                shift_s = begun_s - take.starts_at_s
                played.append((note.start_s + shift_s, min(note.end_s, ends_at_s) + shift_s))
    return played


def _begun_s(folder: JobFolder, take: TakeRef) -> float | None:
    whole = next((t for t in folder.job.takes if t.number == take.cut_from), take)
    facts = recording_facts(folder, whole)
    return None if facts is None else facts.begun_at.timestamp() + take.from_frame / take.sample_rate


def _spans(line: TimedLine) -> Iterator[tuple[float, float]]:
    for phrase in line.phrases:
        yield line.notes[phrase.first_note].start_s, line.notes[phrase.last_note].end_s


def _take(folder: JobFolder, take: TakeRef, spans: tuple[tuple[float, float], ...]) -> TakeCover:
    facts = recording_facts(folder, take)
    lost = _lost(facts)
    peaks = (
        _peaks(folder.path(take.file), take.sha256, take.starts_at_s, spans)
        if take.starts_at_s is not None
        else (0.0,) * len(spans)
    )
    cells = tuple(_cell(take, span, peak, lost) for span, peak in zip(spans, peaks, strict=True))
    return TakeCover(
        number=take.number,
        given_as=take.given_as,
        seconds=take.frames / take.sample_rate,
        begun_at=facts.begun_at if facts else None,
        mark=folder.job.marks.get(take.number),
        left_out=take.number in folder.job.left_out,
        is_placed=take.starts_at_s is not None,
        cells=cells,
    )


def _lost(facts: RecordingFacts | None) -> list[tuple[float, float]]:
    """Stretches of the guide's time that suffer from lost sound: to the end where it is known that sound is missing,
    as what follows comes early; the place itself where only the device says so."""
    told = [(facts.to_guide_s(frame), lost_s) for frame, lost_s in facts.dropouts] if facts else []
    return [(at_s, at_s if lost_s is None else math.inf) for at_s, lost_s in told]


def _cell(take: TakeRef, span: tuple[float, float], peak: float, lost: list[tuple[float, float]]) -> Cell:
    if take.starts_at_s is None:
        return "no"
    first_s, last_s = take.starts_at_s, take.starts_at_s + take.frames / take.sample_rate
    if span[1] <= first_s or span[0] >= last_s:
        return "no"
    if span[0] < first_s - EDGE_S or span[1] > last_s + EDGE_S:
        return "part"
    if any(span[1] > from_s and span[0] <= to_s for from_s, to_s in lost):
        return "lost"
    return "silent" if peak < db_to_amplitude(SILENT_DBFS) else "played"


@lru_cache(maxsize=256)
def _peaks(path: Path, sha256: str, starts_at_s: float, spans: tuple[tuple[float, float], ...]) -> tuple[float, ...]:
    """The highest sample of a take within each phrase; kept, because takes never change."""
    audio = read_audio(path)
    level = np.abs(audio.y).max(axis=0)
    pieces = [
        level[max(0, round((start_s - starts_at_s) * audio.sr)) : max(0, round((end_s - starts_at_s) * audio.sr))]
        for start_s, end_s in spans
    ]
    return tuple(float(piece.max(initial=0.0)) for piece in pieces)


def _counts(take: TakeCover) -> bool:
    return not take.left_out and take.mark in (None, "good")


def _sentence(phrases: tuple[PhraseCover, ...], takes: tuple[TakeCover, ...]) -> str:
    if not takes:
        return "Nothing is recorded yet."
    if not phrases:
        return "Without a line there are no phrases to count."
    short = [
        (bars_text(bar for p in phrases if p.usable == n for bar in range(p.first_bar, p.last_bar + 1)), count)
        for n, count in ((0, "none"), (1, "one"))
        if any(p.usable == n for p in phrases)
    ]
    if not short:
        return f"You can pack up: every phrase was recorded {ENOUGH} times or more."
    return f"Too few so far: {' and '.join(f'{bars} ({count})' for bars, count in short)}."
