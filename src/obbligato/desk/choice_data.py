"""The choice among takes as the page shows it: phrases down, takes across, with why, and the seams it makes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from pydantic import BaseModel

from obbligato.desk.choice_words import (
    lost_words,
    note_names,
    offered_mends,
    phrase_bars,
    seam_sentence,
    state_sentence,
)
from obbligato.job.choosing import COMP, SHEET
from obbligato.job.keys import choice_key
from obbligato.job.mapping import map_is_ready, song_map
from obbligato.job.mending import mends_so_far
from obbligato.job.model import WHOLE_TAKE, Made, TakeRef
from obbligato.job.proposing import (
    JudgedTakes,
    Proposal,
    choose_among,
    choose_among_solos,
    judged_so_far,
    proposal_by_edit_list,
    whole_take,
)
from obbligato.job.reading import heard_keys
from obbligato.job.sheet import in_words, take_name
from obbligato.job.soloing import solo_so_far
from obbligato.job.store import JobFolder
from obbligato.job.timing import timed_line
from obbligato.job.writing import current_line, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.takes.passes import PASSES
from obbligato.takes.readings import NoteReading, PhraseReading, PhraseSpan, TakeReading, TimedLine, TimedNote
from obbligato.units import db_to_power, power_to_db

State = Literal["none", "fresh", "stale"]
_MEASURES = (
    *("cents", "onset_ms", "cents_just", "steadiness_cents", "vibrato_hz", "vibrato_cents", "groove_ms"),
    *("release_ms", "brightness_hz"),
)


class MendView(BaseModel):
    """Something mended in a take, as the job keeps it, and what it did."""

    what: str
    did: str


class TakeColumn(BaseModel):
    """One take; where it lies is known once it was heard.

    `remarks` are about the take as a whole; `offers` the mends they call for; `passes` whether it holds several.
    """

    number: int
    given_as: str
    left_out: bool
    heard: bool
    seconds: float
    offset_ms: float | None
    drift_ppm: float | None
    tuning_cents: float | None
    sentence: str
    remarks: list[str]
    offers: list[str]
    mends: list[MendView]
    passes: bool


class NoteMark(BaseModel):
    """One note as it was played; cents from the song's tuning, milliseconds from its place."""

    index: int
    played: bool
    cents: float | None
    onset_ms: float | None
    cents_just: float | None
    steadiness_cents: float | None
    vibrato_hz: float | None
    vibrato_cents: float | None
    groove_ms: float | None
    release_ms: float | None
    brightness_hz: float | None


class Cell(BaseModel):
    """One phrase in one take; `level_db` over the notes that every take has, so that takes can be matched by it."""

    take: int
    score: float
    lost: str
    verdict: str
    flags: list[str]
    level_db: float | None
    breath_dbfs: float | None
    extra_notes: int
    notes: list[NoteMark]


class LineNote(BaseModel):
    """A note as it is written in the line."""

    index: int
    written: str
    sounding: str
    start_s: float
    end_s: float


class PhraseRow(BaseModel):
    """One phrase of the line, how each take played it, and which is used."""

    index: int
    bars: str
    first_bar: int
    last_bar: int
    start_s: float
    end_s: float
    section: str
    notes: list[LineNote]
    cells: list[Cell]
    chosen: int | None
    by_hand: bool
    why: str
    change: str


class SeamView(BaseModel):
    """A join of two takes, and what steps across it."""

    at_s: float
    before_phrase: int
    from_take: int
    to_take: int
    fade_ms: float
    level_step_db: float
    pitch_step_cents: float
    noise_step_db: float
    sentence: str


class ChoiceView(BaseModel):
    """All of it; `unheard` are takes in use that have yet to be read, `by_hand` the phrases the player chose for.

    `joins` is the dial from fewest joins (0) to the best of each phrase (1); `gains_db` are the gains in force by
    take, `matching_db` those that would make the takes equally loud. `whole` is the take used as a whole by hand,
    where there is no line.
    """

    state: State
    sentence: str
    coverage: str
    has_line: bool
    whole: int | None
    unheard: list[int]
    by_hand: dict[int, int]
    joins: float
    base: int | None
    gains_db: dict[int, float]
    matching_db: dict[int, float]
    takes: list[TakeColumn]
    phrases: list[PhraseRow]
    seams: list[SeamView]
    comp_url: str | None
    sheet_url: str | None


def choice_view(folder: JobFolder, link: Callable[[str], str]) -> ChoiceView:
    """The choice as it stands, without listening to anything.

    Parameters
    ----------
    link
        Gives a file of the job an address.
    """
    job = folder.job
    last = job.last_made("choose")
    state: State = "none" if last is None else "fresh" if last.from_key == choice_key(folder) else "stale"
    ready = map_is_ready(folder)
    proposal = _proposal(folder) if ready else None
    read = {take.path: take for take in proposal.assessment.takes} if proposal else {}
    unread = _unread(folder, read)
    numbers = _numbers(folder)
    rows: list[PhraseRow] = []
    if proposal and proposal.assessment.line.phrases:
        rows = _rows(folder, proposal, song_map(folder))
    return ChoiceView(
        state=state,
        sentence=state_sentence(folder, state, unread),
        coverage=proposal.coverage if proposal else "",
        has_line=bool(job.lines),
        whole=None if job.lines else job.overrides.get(WHOLE_TAKE),
        unheard=unread,
        by_hand={phrase: take for phrase, take in job.overrides.items() if phrase != WHOLE_TAKE},
        joins=job.joining.joins,
        base=job.joining.base,
        gains_db=dict(job.joining.gains_db),
        matching_db={numbers[path]: db for path, db in proposal.matching_db.items()} if proposal else {},
        takes=_columns(folder, read),
        phrases=rows,
        seams=_seams(proposal) if proposal else [],
        comp_url=_url(folder, last, COMP, link),
        sheet_url=_url(folder, last, SHEET, link),
    )


def _unread(folder: JobFolder, read: dict[str, TakeReading]) -> list[int]:
    """Numbers of the takes in use that are not among those read, though the choice needs them to be."""
    takes = folder.job.takes_in_use
    if not folder.job.lines and (not takes or whole_take(folder) is not None):
        return []
    return [take.number for take in takes if take.file not in read]


def _proposal(folder: JobFolder) -> Proposal | None:
    """The choice among the takes heard, or by the newest edit list where that knows more takes of the same line."""
    if not folder.job.lines:
        read = solo_so_far(folder) if folder.job.takes_in_use and whole_take(folder) is None else None
        return choose_among_solos(folder, read) if read is not None else proposal_by_edit_list(folder)
    keys = heard_keys(folder)
    judged = _judged(folder.root, tuple(sorted(keys.items()))) if keys else None
    if judged and len(keys) == len(folder.job.takes_in_use):
        return choose_among(folder, judged)
    kept = proposal_by_edit_list(folder)
    if kept:
        line = judged.line if judged else timed_line(current_line(folder).line, song_map(folder).to_grid())
        kept = kept if kept.assessment.line == line and len(kept.assessment.takes) > len(keys) else None
    return kept or (choose_among(folder, judged) if judged else None)


@lru_cache(maxsize=4)
def _judged(root: Path, keys: tuple[tuple[int, str], ...]) -> JudgedTakes | None:
    """Takes judged, kept for as long as the same takes are heard against the same line."""
    del keys
    return judged_so_far(JobFolder.open(root))


def _columns(folder: JobFolder, read: dict[str, TakeReading]) -> list[TakeColumn]:
    return [_column(folder, take, read.get(take.file)) for take in folder.job.takes]


def _column(folder: JobFolder, take: TakeRef, reading: TakeReading | None) -> TakeColumn:
    mends = mends_so_far(folder, take)
    return TakeColumn(
        number=take.number,
        given_as=take.given_as,
        left_out=take.number in folder.job.left_out,
        heard=reading is not None,
        seconds=take.frames / take.sample_rate,
        offset_ms=reading.offset_ms if reading else None,
        drift_ppm=reading.drift_ppm if reading else None,
        tuning_cents=reading.tuning_cents if reading else None,
        sentence=reading.sentence if reading else "",
        remarks=list(reading.remarks) if reading else [],
        offers=offered_mends(reading, [what for what, _ in mends]) if reading else [],
        mends=[MendView(what=what, did=did) for what, did in mends],
        passes=reading is not None and PASSES in reading.sentence,
    )


def _rows(folder: JobFolder, proposal: Proposal, song: SongMap) -> list[PhraseRow]:
    assessment, grid = proposal.assessment, song.to_grid()
    line, numbers = assessment.line, _numbers(folder)
    written, sounding = note_names(line, song, instrument_of(folder))
    chosen = {choice.phrase: choice for choice in assessment.choice}
    rows = []
    for phrase in line.phrases:
        first_bar, last_bar = phrase_bars(line, phrase, grid)
        start_s, end_s = line.notes[phrase.first_note].start_s, line.notes[phrase.last_note].end_s
        choice = chosen[phrase.index]
        rows.append(
            PhraseRow(
                index=phrase.index,
                bars=f"{first_bar}" if first_bar == last_bar else f"{first_bar}–{last_bar}",
                first_bar=first_bar,
                last_bar=last_bar,
                start_s=start_s,
                end_s=end_s,
                section=next((s.label for s in reversed(song.sections) if s.start_s <= start_s + 1e-3), ""),
                notes=[
                    LineNote(index=i, written=written[i], sounding=sounding[i], start_s=n.start_s, end_s=n.end_s)
                    for i, n in _notes_of(line, phrase)
                ],
                cells=_cells(assessment.takes, phrase, numbers),
                chosen=numbers.get(choice.take),
                by_hand=phrase.index + 1 in folder.job.overrides,
                why=in_words(choice.why, assessment),
                change=in_words(choice.change, assessment),
            )
        )
    return rows


def _notes_of(line: TimedLine, phrase: PhraseSpan) -> list[tuple[int, TimedNote]]:
    return [(i, line.notes[i]) for i in range(phrase.first_note, phrase.last_note + 1)]


def _cells(takes: Sequence[TakeReading], phrase: PhraseSpan, numbers: dict[str, int]) -> list[Cell]:
    readings = [take.phrases[phrase.index] for take in takes]
    levels = common_levels_db([reading.notes for reading in readings])
    return [
        _cell(numbers[take.path], reading, level)
        for take, reading, level in zip(takes, readings, levels, strict=True)
    ]


def _cell(number: int, reading: PhraseReading, level_db: float | None) -> Cell:
    _, _, words = reading.verdict.partition(": ")
    words = words or reading.verdict
    return Cell(
        take=number,
        score=reading.score,
        lost=lost_words(reading.score_parts),
        verdict=words[:1].upper() + words[1:],
        flags=list(reading.flags),
        level_db=level_db,
        breath_dbfs=_tenth(reading.breath_dbfs),
        extra_notes=reading.extra_notes,
        notes=[
            NoteMark(
                index=note.index, played=note.played, **{name: _tenth(getattr(note, name)) for name in _MEASURES}
            )
            for note in reading.notes
        ],
    )


def _tenth(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def common_levels_db(takes: Sequence[Sequence[NoteReading]]) -> list[float | None]:
    """Level of a phrase in each take: mean power over the notes that every take of it has, or over its own.

    >>> a = (NoteReading(0, True, 0.0, 0.0, -20.0), NoteReading(1, True, 0.0, 0.0, -10.0))
    >>> b = (NoteReading(0, True, 0.0, 0.0, -26.0), NoteReading(1, False, None, None, None))
    >>> common_levels_db([a, b])
    [-20.0, -26.0]
    """
    known = [{note.index: note.level_db for note in notes if note.level_db is not None} for notes in takes]
    shared = set.intersection(*(set(levels) for levels in known if levels)) if any(known) else set()
    means: list[float | None] = []
    for levels in known:
        chosen = [level for index, level in levels.items() if index in shared or not shared]
        means.append(round(float(power_to_db(np.mean(db_to_power(chosen)))), 2) if chosen else None)
    return means


def _seams(proposal: Proposal) -> list[SeamView]:
    line = proposal.assessment.line
    starts_s = [line.notes[phrase.first_note].start_s for phrase in line.phrases]
    return [
        SeamView(
            at_s=seam.at_s,
            before_phrase=next((i for i, start_s in enumerate(starts_s) if start_s > seam.at_s), len(starts_s) - 1),
            from_take=_number(seam.from_take),
            to_take=_number(seam.to_take),
            fade_ms=seam.fade_ms,
            level_step_db=seam.level_step_db,
            pitch_step_cents=seam.pitch_step_cents,
            noise_step_db=seam.noise_step_db,
            sentence=seam_sentence(seam),
        )
        for seam in proposal.assessment.seams
    ]


def _numbers(folder: JobFolder) -> dict[str, int]:
    return {take.file: take.number for take in folder.job.takes}


def _number(path: str) -> int:
    return int(take_name(path).removeprefix("take "))


def _url(folder: JobFolder, last: Made | None, name: str, link: Callable[[str], str]) -> str | None:
    relative = f"{last.folder}/{name}" if last else ""
    return link(relative) if last and folder.path(relative).is_file() else None
