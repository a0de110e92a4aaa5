"""What is said about the line on the chart: by the check, by the client, and of the takes that were chosen."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel

from obbligato.desk.client_data import client_remarks
from obbligato.job.checking import check_in_song
from obbligato.job.keys import choice_key, line_key
from obbligato.job.proposing import read_edit_list
from obbligato.job.sheet import take_name
from obbligato.job.singer_notes import singer_notes
from obbligato.job.store import JobFolder
from obbligato.job.writing import PlacedLine, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.music.remarks import Severity


class RemarkView(BaseModel):
    """One remark on a stretch of bars; a verdict names its phrase and take. `short` says it in fewer words."""

    kind: Literal["check", "client", "verdict"]
    severity: Severity
    first_bar: int
    last_bar: int
    text: str
    short: str | None = None
    phrase: int | None = None
    take: str | None = None


def remarks_on(folder: JobFolder, song: SongMap, placed: PlacedLine) -> list[RemarkView]:
    """Every remark that holds for the newest line, in the order of the bars."""
    remarks = [*_checked(folder, song, placed), *_client(folder, song), *_verdicts(folder, song)]
    return sorted(remarks, key=lambda remark: (remark.first_bar, remark.last_bar))


def _checked(folder: JobFolder, song: SongMap, placed: PlacedLine) -> list[RemarkView]:
    """The check of the line, if it was asked for since the line last changed."""
    if folder.job.made_from("check", line_key(folder)) is None:
        return []
    remarks = check_in_song(placed.line, song, instrument_of(folder), sung=singer_notes(folder, measure=False))
    return [
        RemarkView(kind="check", severity=r.severity, first_bar=r.first_bar, last_bar=r.last_bar, text=r.sentence)
        for r in remarks
    ]


def _client(folder: JobFolder, song: SongMap) -> list[RemarkView]:
    """The client's newest answer, by section and on the bars they pinned a remark to."""
    return [RemarkView.model_validate(remark.model_dump()) for remark in client_remarks(folder, song)]


def _verdicts(folder: JobFolder, song: SongMap) -> list[RemarkView]:
    """How the take chosen for each phrase was played, if the comp is of the job as it stands."""
    comp = folder.job.made_from("choose", choice_key(folder))
    if comp is None:
        return []
    assessment = read_edit_list(folder, comp.folder).assessment
    grid, notes = song.to_grid(), assessment.line.notes
    takes = {take.path: take for take in assessment.takes}
    remarks = []
    for choice in assessment.choice:
        if choice.phrase >= len(takes[choice.take].phrases):
            continue
        reading, phrase = takes[choice.take].phrases[choice.phrase], assessment.line.phrases[choice.phrase]
        words = reading.verdict.partition(": ")[2] or reading.verdict
        remarks.append(
            RemarkView(
                kind="verdict",
                severity="look" if reading.flags else "note",
                first_bar=grid.position_at(notes[phrase.first_note].start_s).bar,
                last_bar=grid.position_at(notes[phrase.last_note].start_s).bar,
                text=f"{take_name(choice.take).capitalize()}: {words}",
                short=None if reading.flags else f"{take_name(choice.take).capitalize()}: clean",
                phrase=choice.phrase + 1,
                take=take_name(choice.take),
            )
        )
    return remarks
