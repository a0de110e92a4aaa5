"""Time and money for the page: hours by stage, entries made by hand, rounds, and statements written."""

from __future__ import annotations

from datetime import datetime

from pydantic import BaseModel

from obbligato.desk.deps import Desk
from obbligato.desk.job_data import FileView, files_in
from obbligato.job.account import account
from obbligato.job.model import Stage
from obbligato.job.store import JobFolder


class StageHours(BaseModel):
    """Time spent on a stage."""

    stage: Stage
    minutes: float


class EntryView(BaseModel):
    """Time entered by hand."""

    at: datetime
    stage: Stage
    minutes: float
    what: str


class TimeView(BaseModel):
    """The account of a job."""

    stages: list[StageHours]
    minutes: float
    entries: list[EntryView]
    rounds: list[str]
    fee: float | None
    currency: str
    fee_per_hour: float | None
    since: datetime
    until: datetime
    statements: list[FileView]


def time_view(desk: Desk, folder: JobFolder) -> TimeView:
    """The account as of the last event."""
    found = account(folder)
    entries = [
        EntryView(at=event.at, stage=event.stage, minutes=event.minutes, what=event.what)
        for event in folder.history()
        if event.minutes is not None
    ]
    return TimeView(
        stages=[StageHours(stage=time.stage, minutes=time.minutes) for time in found.stages],
        minutes=found.minutes,
        entries=entries[::-1],
        rounds=list(found.rounds_sentences),
        fee=found.fee,
        currency=found.currency,
        fee_per_hour=found.fee_per_hour,
        since=found.since,
        until=found.until,
        statements=files_in(desk, folder, "account")[::-1],
    )
