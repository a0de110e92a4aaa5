"""A job as the page shows it: brief, stages, what was made, with links to every file."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import BaseModel

from obbligato.desk.deps import Desk
from obbligato.desk.words import page_words
from obbligato.desk.work import Task
from obbligato.job.brief import deadline_of
from obbligato.job.keys import stage_key
from obbligato.job.mapping import FINDINGS
from obbligato.job.model import Brief, Stage
from obbligato.job.risks import unanswered
from obbligato.job.status import StageStatus, status
from obbligato.job.store import JobFolder
from obbligato.job.writing import instrument_of
from obbligato.music.instruments import Instrument

StageState = Literal["done", "stale", "waiting", "open"]


class FileView(BaseModel):
    """A file to open or download."""

    name: str
    url: str
    bytes: int


class InstrumentView(BaseModel):
    """An instrument, with its ranges in written MIDI pitch."""

    name: str
    key: str
    family: str
    low: int
    high: int
    comfortable_low: int
    comfortable_high: int
    sounding_minus_written: int
    breath_s: float | None


class RiskView(BaseModel):
    """An open question and what it may cost."""

    question: str
    consequence: str
    fields: list[str]


class StageView(BaseModel):
    """Where one stage of the job stands."""

    stage: Stage
    state: StageState
    sentence: str


class DeadlineView(BaseModel):
    """When the job is due, seen from now."""

    day: str
    days_left: int
    is_over: bool
    words: str


class GuideView(BaseModel):
    """The guide as received."""

    received: str
    url: str
    has_vocal: bool


class LineView(BaseModel):
    """One version of the line."""

    version: int
    given_as: str
    url: str


class MadeView(BaseModel):
    """Something that was made, and whether what it was made from has changed since."""

    stage: Stage
    folder: str
    at: datetime
    stale: bool
    line_version: int | None
    files: list[FileView]


class JobCard(BaseModel):
    """A job in the list of jobs."""

    name: str
    title: str
    client: str
    instrument: str
    deadline: str
    due: DeadlineView | None
    next: StageView | None
    trouble: str | None
    created_at: datetime | None
    task: Task | None


class JobView(BaseModel):
    """A job in full."""

    name: str
    stamp: str
    created_at: datetime
    brief: Brief
    due: DeadlineView | None
    instrument: InstrumentView
    risks: list[RiskView]
    guide: GuideView
    mapped: bool
    stages: list[StageView]
    next: StageView
    lines: list[LineView]
    made: list[MadeView]


def job_card(desk: Desk, name: str, *, moment: datetime) -> JobCard:
    """A job for the list; one that cannot be read says so instead of hiding the others."""
    task = desk.work.busy(name)
    try:
        folder = desk.jobs.open(name)
        brief, step = folder.job.brief, status(folder).next
    except Exception as error:
        return JobCard(
            name=name, title=name, client="", instrument="", deadline="", due=None, next=None,
            trouble=page_words(str(error)), created_at=None, task=task,
        )  # fmt: skip
    return JobCard(
        name=name,
        title=brief.title,
        client=brief.client,
        instrument=folder.job.instrument,
        deadline=brief.deadline,
        due=_due(brief, moment),
        next=_stage(step),
        trouble=None,
        created_at=folder.job.created_at,
        task=task,
    )


def job_view(desk: Desk, name: str, *, moment: datetime) -> JobView:
    """Everything the page shows of a job that is not a view's own.

    The stamp is taken before the job is read: what changes meanwhile is then fetched once too often, not never.
    """
    stamp, folder = desk.jobs.stamp(name), desk.jobs.open(name)
    job, where = folder.job, status(folder)
    has_vocal = job.guide.vocal is not None
    return JobView(
        name=name,
        stamp=stamp,
        created_at=job.created_at,
        brief=job.brief,
        due=_due(job.brief, moment),
        instrument=instrument_view(instrument_of(folder)),
        risks=[
            RiskView(question=risk.question, consequence=risk.consequence, fields=list(risk.fields))
            for risk in unanswered(job.brief, has_vocal=has_vocal)
        ],
        guide=GuideView(
            received=job.guide.received.rpartition("/")[2],
            url=desk.link(folder, job.guide.received),
            has_vocal=has_vocal,
        ),
        mapped=folder.path(FINDINGS).exists(),
        stages=[_stage(stage) for stage in where.stages],
        next=_stage(where.next),
        lines=[
            LineView(version=line.version, given_as=line.given_as, url=desk.link(folder, line.file))
            for line in job.lines
        ],
        made=_made(desk, folder),
    )


def _stage(stage: StageStatus) -> StageView:
    return StageView(stage=stage.stage, state=stage.state, sentence=page_words(stage.sentence))


def instrument_view(instrument: Instrument) -> InstrumentView:
    """An instrument for the page."""
    return InstrumentView(
        name=instrument.name,
        key=instrument.key,
        family=instrument.family,
        low=instrument.low,
        high=instrument.high,
        comfortable_low=instrument.comfortable_low,
        comfortable_high=instrument.comfortable_high,
        sounding_minus_written=instrument.transposition.semitones,
        breath_s=instrument.breath_s,
    )


def files_in(desk: Desk, folder: JobFolder, relative: str) -> list[FileView]:
    """The files of a folder inside the job, by name."""
    if not relative:
        return []
    root = folder.path(relative)
    found = sorted(path for path in root.rglob("*") if path.is_file()) if root.is_dir() else []
    return [
        FileView(
            name=path.relative_to(root).as_posix(),
            url=desk.link(folder, path.relative_to(folder.root).as_posix()),
            bytes=path.stat().st_size,
        )
        for path in found
    ]


def _due(brief: Brief, moment: datetime) -> DeadlineView | None:
    due = deadline_of(brief, moment=moment)
    if due is None:
        return None
    return DeadlineView(day=due.day.isoformat(), days_left=due.days_left, is_over=due.is_over, words=due.words)


def _made(desk: Desk, folder: JobFolder) -> list[MadeView]:
    """The newest thing that each stage made, with its files."""
    views = []
    for stage in dict.fromkeys(made.stage for made in folder.job.made):
        newest = folder.job.last_made(stage)
        if newest is None:
            continue
        views.append(
            MadeView(
                stage=stage,
                folder=newest.folder,
                at=newest.at,
                stale=newest.from_key != stage_key(folder, stage),
                line_version=newest.line_version,
                files=files_in(desk, folder, newest.folder),
            )
        )
    return views
