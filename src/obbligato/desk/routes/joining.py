"""How takes are joined and mended: the dial, the base, gains, the choice as text; mends, passes, layers."""

from __future__ import annotations

from functools import partial
from typing import Annotated

from fastapi import APIRouter, Path
from pydantic import BaseModel, ConfigDict, Field

from obbligato.desk import choice_work
from obbligato.desk.choice_data import ChoiceView, choice_view
from obbligato.desk.deps import DeskDep, JobDep
from obbligato.desk.errors import NotThere
from obbligato.desk.work import TaskStarted
from obbligato.errors import NotRightError
from obbligato.job.choice_text import TEXT
from obbligato.job.reading import heard_keys
from obbligato.job.store import JobFolder
from obbligato.job.wishes import set_joining

router = APIRouter()

TakeNumber = Annotated[int, Path(ge=1, le=9_999)]
Gain = Annotated[float, Field(ge=-40, le=40, allow_inf_nan=False)]
LONGEST_TEXT = 200_000


class JoiningGiven(BaseModel):
    """How takes are to be joined; what is not given stays. A gain of 0 takes a gain back, a null base the base."""

    model_config = ConfigDict(extra="forbid")

    joins: Annotated[float | None, Field(ge=0, le=1, allow_inf_nan=False)] = None
    base: Annotated[int | None, Field(ge=1, le=9_999)] = None
    gains_db: Annotated[dict[Annotated[int, Field(ge=1, le=9_999)], Gain], Field(max_length=200)] = {}


class MendGiven(BaseModel):
    """What to mend in a take, as `hum` or `gain=-3`, in a phrase (from 1) where it is for one; or to take back."""

    model_config = ConfigDict(extra="forbid")

    what: Annotated[str, Field(min_length=1, max_length=40)]
    phrase: Annotated[int | None, Field(ge=1, le=99_999)] = None
    undo: bool = False


class ChoiceText(BaseModel):
    """The choice as text, one line a phrase."""

    model_config = ConfigDict(extra="forbid")

    text: Annotated[str, Field(max_length=LONGEST_TEXT)]


class LayersGiven(BaseModel):
    """Takes to compare; none for all in use."""

    model_config = ConfigDict(extra="forbid")

    takes: Annotated[list[Annotated[int, Field(ge=1, le=9_999)]], Field(max_length=200)] = []


@router.post("/jobs/{job}/joining")
def joining(given: JoiningGiven, folder: JobDep, desk: DeskDep) -> ChoiceView:
    """Keep how takes are to be joined; the comp is rendered when asked for."""
    before = folder.job.joining
    if "base" in given.model_fields_set and given.base is None and before.base is not None:
        set_joining(folder, clear=True, joins=before.joins, inside=tuple(before.inside), gains_db=before.gains_db)
    set_joining(folder, joins=given.joins, base=given.base, gains_db=given.gains_db)
    return choice_view(folder, partial(desk.link, folder))


@router.get("/jobs/{job}/choice/text")
def text(folder: JobDep) -> ChoiceText:
    """The newest comp's choice as text."""
    last = folder.job.last_made("choose")
    path = folder.path(f"{last.folder}/{TEXT}") if last else None
    if path is None or not path.is_file():
        raise NotThere("The choice is there as text once the comp has been rendered.")
    return ChoiceText(text=path.read_text(encoding="utf-8")[:LONGEST_TEXT])


@router.post("/jobs/{job}/choice/text", status_code=202)
def follow(given: ChoiceText, folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Take over the choice as it was edited."""
    _require_heard(folder)
    task = desk.work.start(
        folder.root.name, "reading the choice", choice_work.follow, root=folder.root, text=given.text
    )
    return TaskStarted(task=task)


@router.post("/jobs/{job}/takes/{number}/mend", status_code=202)
def mend(given: MendGiven, folder: JobDep, desk: DeskDep, number: TakeNumber) -> TaskStarted:
    """Mend something in a take, or take a mend back."""
    task = desk.work.start(
        folder.root.name,
        f"{'no longer mending' if given.undo else 'mending'} take {number}",
        choice_work.mend,
        root=folder.root,
        take=number,
        mend=given.what,
        phrase=given.phrase,
        undo=given.undo,
    )
    return TaskStarted(task=task)


@router.post("/jobs/{job}/takes/{number}/cut", status_code=202)
def cut(folder: JobDep, desk: DeskDep, number: TakeNumber) -> TaskStarted:
    """Make each pass that a take holds a take of its own."""
    task = desk.work.start(folder.root.name, f"cutting take {number}", choice_work.cut, root=folder.root, take=number)
    return TaskStarted(task=task)


@router.post("/jobs/{job}/layers", status_code=202)
def layers(given: LayersGiven, folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Compare takes meant to be stacked; the finished work's result is the sentences."""
    task = desk.work.start(
        folder.root.name, "comparing layers", choice_work.layers, root=folder.root, takes=given.takes
    )
    return TaskStarted(task=task)


def _require_heard(folder: JobFolder) -> None:
    if not folder.job.takes_in_use or len(heard_keys(folder)) < len(folder.job.takes_in_use):
        raise NotRightError("The takes have not all been read yet; read and choose first.")
