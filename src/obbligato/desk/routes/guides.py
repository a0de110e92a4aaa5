"""The guides of a job: a new one taken in and compared, gone by on a yes, or left aside."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path
from pydantic import BaseModel, ConfigDict, Field

from obbligato.desk import guides_work
from obbligato.desk.deps import Desk, DeskDep, JobDep
from obbligato.desk.errors import NotThere
from obbligato.desk.guides_data import GuidesView, guides_view
from obbligato.desk.work import Target, TaskStarted
from obbligato.errors import NotRightError
from obbligato.job.mapping import FINDINGS
from obbligato.job.new_guide import leave_guide
from obbligato.job.store import JobFolder

router = APIRouter()

Fingerprint = Annotated[str, Path(pattern="^[0-9a-f]{64}$", description="SHA-256 of the guide's file")]


class GuideGiven(BaseModel):
    """A guide that arrived."""

    model_config = ConfigDict(extra="forbid")

    upload: Annotated[str, Field(min_length=1, max_length=40)]


@router.get("/jobs/{job}/guides")
def guides(folder: JobDep) -> GuidesView:
    """The guide in force and those beside it, with what each would do."""
    return guides_view(folder)


@router.post("/jobs/{job}/guides", status_code=202)
def take_in(given: GuideGiven, folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Take a new guide in beside the one in force, and compare them; the job goes on by the old one."""
    file = desk.uploads.path(given.upload)
    _require_map(folder)
    task = desk.work.start(
        folder.root.name,
        "comparing the new guide",
        guides_work.take_in,
        finally_do=lambda: desk.uploads.done(given.upload),
        root=folder.root,
        file=file,
    )
    return TaskStarted(task=task)


@router.post("/jobs/{job}/guides/{guide}/compare", status_code=202)
def compare(guide: Fingerprint, folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Compare a guide that was taken in before with the one in force."""
    _require_there(folder, guide)
    _require_map(folder)
    return _started(desk, folder, "comparing the guides", guides_work.compare, guide)


@router.post("/jobs/{job}/guides/{guide}/take-over", status_code=202)
def take_over(guide: Fingerprint, folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Go by another guide from now on; what was made for the one before is kept."""
    _require_there(folder, guide)
    _require_map(folder)
    return _started(desk, folder, "going by the new guide", guides_work.take_over, guide)


@router.post("/jobs/{job}/guides/{guide}/leave")
def leave(guide: Fingerprint, folder: JobDep) -> GuidesView:
    """Leave a guide aside."""
    _require_there(folder, guide)
    leave_guide(folder, guide)
    return guides_view(folder)


def _started(desk: Desk, folder: JobFolder, what: str, target: Target, guide: str) -> TaskStarted:
    return TaskStarted(task=desk.work.start(folder.root.name, what, target, root=folder.root, guide=guide))


def _require_there(folder: JobFolder, guide: str) -> None:
    if not any(other.guide.sha256 == guide for other in folder.job.other_guides):
        raise NotThere("There is no such guide beside the one in force; drop the file of it again.")


def _require_map(folder: JobFolder) -> None:
    if not folder.path(FINDINGS).is_file():
        raise NotRightError("The guide in force has not been listened to yet; let it be, then compare the new one.")
