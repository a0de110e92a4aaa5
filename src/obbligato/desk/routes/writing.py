"""The line: writing it, its versions, checking it, the mock-up, the part, and the page to play from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from fastapi import Path as InPath
from pydantic import BaseModel, ConfigDict, Field

from obbligato.desk.deps import DeskDep, JobDep
from obbligato.desk.draft_data import difference_view, draft_view, edited, help_view, sheet_view, versions_view
from obbligato.desk.draft_model import (
    Draft,
    DraftEdit,
    DraftView,
    Notes,
    NoteView,
    OpeningHelpView,
    RemarkView,
    SheetView,
    VersionView,
)
from obbligato.desk.stand_data import StandView, stand_view
from obbligato.desk.work import TaskStarted
from obbligato.errors import InputError
from obbligato.job.checking import check
from obbligato.job.drafting import keep_draft, mapped_song
from obbligato.job.mockup import make_mockup
from obbligato.job.paper import make_part
from obbligato.job.store import JobFolder
from obbligato.job.writing import add_line, current_line
from obbligato.page.part_print import LARGEST_STAVE_MM, SMALLEST_STAVE_MM, PrintName, part_print
from obbligato.progress import Progress

router = APIRouter()

Version = Annotated[int, InPath(ge=1, le=100_000)]


class NewLine(BaseModel):
    """A version of the line: a MIDI file that arrived, or notes written on the page; one of the two."""

    model_config = ConfigDict(extra="forbid")

    upload: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    start: Literal["auto", "guide", "bar-1"] = "auto"
    notes: Notes | None = None


class LineAdded(BaseModel):
    """The new version, and how it was read, in sentences."""

    version: int
    sentences: list[str]


class Checked(BaseModel):
    """What stands in the way of playing the newest line."""

    version: int
    remarks: list[RemarkView]


class MockupOrder(BaseModel):
    """How loud the line lies above (or below) the guide; None is the usual."""

    model_config = ConfigDict(extra="forbid")

    line_db: Annotated[float, Field(ge=-40.0, le=20.0, allow_inf_nan=False)] | None = None


class PartOrder(BaseModel):
    """How the part is to be printed beside the normal print; see `page.part_print`."""

    model_config = ConfigDict(extra="forbid")

    print: PrintName = "normal"
    stave_mm: Annotated[float, Field(ge=SMALLEST_STAVE_MM, le=LARGEST_STAVE_MM, allow_inf_nan=False)] | None = None
    landscape: bool = False
    tinted: bool = False


_NORMAL_PART = PartOrder()


@router.post("/jobs/{job}/line", status_code=201)
def add(line: NewLine, folder: JobDep, desk: DeskDep) -> LineAdded:
    """Add a version of the line."""
    if (line.upload is None) == (line.notes is None):
        raise InputError("Send either a MIDI file that was dropped or notes; not both, and not neither.")
    if line.notes is not None:
        placed = keep_draft(folder, [note.to_note() for note in line.notes])
    else:
        mapped_song(folder)
        upload = line.upload or ""
        placed = add_line(folder, desk.uploads.path(upload), start=line.start)
        desk.uploads.done(upload)
    return LineAdded(version=placed.version.version, sentences=list(placed.sentences))


@router.get("/jobs/{job}/line")
def sheet(folder: JobDep, version: Annotated[int | None, Query(ge=1, le=100_000)] = None) -> SheetView:
    """The song to write in, with a version of the line to go on from."""
    return sheet_view(folder, version)


@router.get("/jobs/{job}/lines")
def versions(folder: JobDep) -> list[VersionView]:
    """All versions of the line, newest first, with what each changed."""
    return versions_view(folder) if folder.job.lines else []


@router.get("/jobs/{job}/lines/{before}/difference/{after}")
def difference(folder: JobDep, before: Version, after: Version) -> list[str]:
    """What is different between two versions, a sentence for each bar."""
    return difference_view(folder, before, after)


@router.post("/jobs/{job}/draft")
def draft(draft: Draft, folder: JobDep) -> DraftView:
    """Engrave and look at a line as it is being written; nothing is kept."""
    return draft_view(folder, draft)


@router.post("/jobs/{job}/draft/edit")
def draft_edit(draft: DraftEdit, folder: JobDep) -> list[NoteView]:
    """A draft after an edit in words; nothing is kept."""
    mapped_song(folder)
    return edited(folder, draft)


@router.get("/jobs/{job}/openings/help")
def openings_help(folder: JobDep) -> list[OpeningHelpView]:
    """What helps to write for each opening: chords, scale, the singer's last notes, the room."""
    mapped_song(folder)
    return help_view(folder)


@router.post("/jobs/{job}/check")
def check_newest(folder: JobDep) -> Checked:
    """Check the newest line: range, breath, the singer, the chords; the job notes that it was looked at."""
    mapped_song(folder)
    remarks = [RemarkView.model_validate(remark) for remark in check(folder)]
    return Checked(version=folder.job.lines[-1].version, remarks=remarks)


@router.post("/jobs/{job}/mockup", status_code=202)
def mockup(order: MockupOrder, folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Make the mock-up of the newest line."""
    mapped_song(folder)
    current_line(folder)
    task = desk.work.start(
        folder.root.name, "making the mock-up", mockup_work, root=folder.root, line_db=order.line_db
    )
    return TaskStarted(task=task)


@router.post("/jobs/{job}/part", status_code=202)
def part(folder: JobDep, desk: DeskDep, order: PartOrder = _NORMAL_PART) -> TaskStarted:
    """Engrave the newest line as a page for printing."""
    mapped_song(folder)
    current_line(folder)
    task = desk.work.start(
        folder.root.name, "engraving the part", part_work, root=folder.root, order=order.model_dump()
    )
    return TaskStarted(task=task)


@router.get("/jobs/{job}/stand")
def stand(folder: JobDep, ratio: Annotated[float, Query(ge=0.2, le=6.0, allow_inf_nan=False)] = 16 / 9) -> StandView:
    """The part for a screen `ratio` times as wide as high."""
    mapped_song(folder)
    return stand_view(folder, ratio)


def mockup_work(*, root: Path, line_db: float | None, progress: Progress) -> dict[str, Any]:
    """Make the mock-up, in the worker's process."""
    made = make_mockup(JobFolder.open(root), line_db=line_db, progress=progress)
    return {"folder": made.folder, "sentence": made.sentence}


def part_work(*, root: Path, order: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Engrave the part, in the worker's process."""
    name = order.pop("print")
    made = make_part(JobFolder.open(root), how=part_print(name, **order), progress=progress)
    return {"folder": made.folder, "files": list(made.files), "sentences": list(made.sentences)}
