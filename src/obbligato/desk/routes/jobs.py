"""The jobs of the folder: the list, one of them, starting one; and the instruments there are."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from obbligato.desk import job_work
from obbligato.desk.deps import DeskDep, JobDep
from obbligato.desk.job_data import InstrumentView, JobCard, JobView, instrument_view, job_card, job_view
from obbligato.desk.work import Task
from obbligato.errors import InputError
from obbligato.job.model import Brief
from obbligato.music.instruments import INSTRUMENTS, find_instrument

router = APIRouter()

UploadId = Annotated[str, Field(min_length=1, max_length=40)]


class NewJob(BaseModel):
    """A guide that arrived, who plays, and what was agreed."""

    model_config = ConfigDict(extra="forbid")

    guide: UploadId
    vocal: UploadId | None = None
    instrument: Annotated[str, Field(min_length=1, max_length=80)]
    brief: Brief


class JobStarted(BaseModel):
    """The new job's name, and the work of taking its guide in; listening follows by itself."""

    job: str
    task: Task
    listening: Task


class JobList(BaseModel):
    """The folder and its jobs."""

    folder: str
    jobs: list[JobCard]


@router.get("/jobs")
def jobs(desk: DeskDep) -> JobList:
    """Every job of the folder, with what it needs next."""
    moment = datetime.now().astimezone()
    cards = [job_card(desk, name, moment=moment) for name in desk.jobs.names()]
    return JobList(folder=desk.jobs.root.name, jobs=cards)


@router.post("/jobs", status_code=202)
def new_job(order: NewJob, desk: DeskDep) -> JobStarted:
    """Start a job; what was not answered in the brief stands as a risk in it."""
    instrument = find_instrument(order.instrument)
    if not order.brief.title.strip():
        raise InputError("The song needs a title; write at least one letter.")
    guide = desk.uploads.path(order.guide)
    vocal = desk.uploads.path(order.vocal) if order.vocal else None
    name = desk.jobs.free_name(order.brief.title)
    root = desk.jobs.root / name

    def used() -> None:
        if root.exists():
            for upload in (order.guide, order.vocal or ""):
                desk.uploads.done(upload)

    task = desk.work.start(
        name,
        "taking in the guide",
        job_work.take_in,
        finally_do=used,
        root=root,
        guide=guide,
        vocal=vocal,
        instrument=instrument.name,
        brief=order.brief.model_dump(mode="json"),
    )
    listening = desk.work.start(name, "listening to the guide", job_work.listen, root=root)
    return JobStarted(job=name, task=task, listening=listening)


@router.get("/jobs/{job}")
def job(folder: JobDep, desk: DeskDep) -> JobView:
    """One job in full."""
    return job_view(desk, folder.root.name, moment=datetime.now().astimezone())


@router.get("/instruments")
def instruments() -> list[InstrumentView]:
    """Every instrument known, in the order of the table."""
    return [instrument_view(instrument) for instrument in INSTRUMENTS]
