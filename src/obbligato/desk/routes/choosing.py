"""Takes: adding them, leaving them out; reading and choosing; the player's own choices."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Self

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field, model_validator

from obbligato.desk import choice_work
from obbligato.desk.choice_data import ChoiceView, choice_view
from obbligato.desk.deps import Desk, DeskDep, JobDep
from obbligato.desk.work import TaskStarted
from obbligato.errors import InputError, NotRightError
from obbligato.job.proposing import n_heard
from obbligato.job.store import JobFolder
from obbligato.job.taking import leave_out
from obbligato.job.wishes import set_overrides

router = APIRouter()

TakeNumber = Annotated[int, Field(ge=1, le=9_999)]
UploadId = Annotated[str, Field(min_length=1, max_length=40)]
LONGEST_SONG_S = 24 * 3600.0


class TakesGiven(BaseModel):
    """Files that arrived, and where on the guide's time they start, if the player knows."""

    model_config = ConfigDict(extra="forbid")

    uploads: Annotated[list[UploadId], Field(min_length=1, max_length=200)]
    at: Annotated[float | None, Field(ge=-LONGEST_SONG_S, le=LONGEST_SONG_S, allow_inf_nan=False)] = None


class TakesLeftOut(BaseModel):
    """Takes to leave out of every choice, or to use again."""

    model_config = ConfigDict(extra="forbid")

    numbers: Annotated[list[TakeNumber], Field(min_length=1, max_length=200)]
    use_again: bool = False


class ChoiceGiven(BaseModel):
    """A take for a phrase (counted from 1; 0 is the whole take where there is no line), null to go back to the
    proposal; or all choices by hand forgotten."""

    model_config = ConfigDict(extra="forbid")

    phrase: Annotated[int | None, Field(ge=0, le=99_999)] = None
    take: TakeNumber | None = None
    clear: bool = False

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.phrase is None and not self.clear:
            raise ValueError("give a phrase, or clear")
        if self.phrase is None and self.take is not None:
            raise ValueError("give the phrase that the take is for")
        return self


@router.post("/jobs/{job}/takes", status_code=202)
def add(given: TakesGiven, folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Add takes, in the order given; all of them, or none when one cannot be used."""
    if len(set(given.uploads)) < len(given.uploads):
        raise InputError("One file is named twice; name each once.")
    files = [desk.uploads.path(upload) for upload in given.uploads]

    def used() -> None:
        for upload in given.uploads:
            desk.uploads.done(upload)

    what = "adding the take" if len(files) == 1 else f"adding {len(files)} takes"
    task = desk.work.start(
        folder.root.name,
        what,
        choice_work.add,
        finally_do=used,
        root=folder.root,
        files=files,
        starts_at_s=given.at,
    )
    return TaskStarted(task=task)


@router.post("/jobs/{job}/takes/leave-out")
def leave(given: TakesLeftOut, folder: JobDep, desk: DeskDep) -> ChoiceView:
    """Leave takes out, or use them again; the files stay where they are."""
    leave_out(folder, tuple(given.numbers), use_again=given.use_again)
    return _view(folder, desk)


@router.post("/jobs/{job}/choose", status_code=202)
def choose(folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Read the takes that were not read before, choose, and render the comp."""
    if not folder.job.takes_in_use:
        raise NotRightError("This job has no takes to choose from; drop some first.")
    heard = n_heard(folder) == len(folder.job.takes_in_use)
    what = "rendering the comp" if heard else "reading and choosing"
    return TaskStarted(task=desk.work.start(folder.root.name, what, choice_work.choose, root=folder.root))


@router.get("/jobs/{job}/choice")
def choice(folder: JobDep, desk: DeskDep) -> ChoiceView:
    """How every take played every phrase, what is chosen and why, and the seams."""
    return _view(folder, desk)


@router.post("/jobs/{job}/choice")
def decide(given: ChoiceGiven, folder: JobDep, desk: DeskDep) -> ChoiceView:
    """Choose a take for a phrase by hand, or go back to the proposal; the comp is rendered when asked for."""
    chosen = {} if given.phrase is None else {given.phrase: given.take}
    set_overrides(folder, chosen, clear=given.clear)
    return _view(folder, desk)


def _view(folder: JobFolder, desk: Desk) -> ChoiceView:
    return choice_view(folder, partial(desk.link, folder))
