"""Time and rounds: what the job has taken so far, read off the history."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from obbligato.errors import InputError
from obbligato.job.model import Event, Stage
from obbligato.job.store import JobFolder

PAUSE = timedelta(minutes=30)
"""A longer gap between two events is a break, not work (a default of ours; common practice, no source)."""
AFTER_A_PAUSE = timedelta(minutes=5)
"""What the first event after a break is counted as."""


@dataclass(frozen=True)
class StageTime:
    """Minutes spent on a stage."""

    stage: Stage
    minutes: float


@dataclass(frozen=True)
class Account:
    """Where a job stands in time and rounds; money only as agreed in the brief, blanks where nothing was."""

    stages: tuple[StageTime, ...]
    rounds_used: int
    rounds_included: int
    fee: float | None
    currency: str
    since: datetime
    until: datetime

    @property
    def minutes(self) -> float:
        """Minutes of all stages."""
        return sum(stage.minutes for stage in self.stages)

    @property
    def rounds_beyond(self) -> int:
        """Rounds used that the agreed fee does not include."""
        return max(0, self.rounds_used - self.rounds_included)

    @property
    def rounds_sentences(self) -> tuple[str, ...]:
        """How many rounds of changes were used, and what that means for the fee."""
        counted = f"Rounds of changes: {self.rounds_used} used, {self.rounds_included} included in the fee."
        if not self.rounds_beyond:
            return (counted,)
        return counted, f"{self.rounds_beyond} beyond what was agreed: settle the price before the next."

    @property
    def fee_per_hour(self) -> float | None:
        """What the agreed fee comes to for an hour of the time on record; None before there is an hour of it."""
        return self.fee / (self.minutes / 60.0) if self.fee is not None and self.minutes >= 60.0 else None


def minutes_by_stage(events: Sequence[Event]) -> tuple[StageTime, ...]:
    """Time by stage: each event counts from the event before it, or as five minutes after a pause.

    Events that state their own minutes (entered by hand) count as that, and nothing else.
    """
    totals: dict[Stage, float] = {}
    previous: datetime | None = None
    for event in events:
        if event.minutes is not None:
            spent = event.minutes
        else:
            gap = event.at - previous if previous is not None else None
            worked = gap if gap is not None and gap <= PAUSE else AFTER_A_PAUSE
            spent = worked.total_seconds() / 60.0
            previous = event.at
        totals[event.stage] = totals.get(event.stage, 0.0) + spent
    return tuple(StageTime(stage, minutes) for stage, minutes in totals.items())


def account(folder: JobFolder) -> Account:
    """The job's account as of its last event."""
    events = folder.history()
    job = folder.job
    return Account(
        stages=minutes_by_stage(events),
        rounds_used=sum(round_.asks_for_changes for round_ in job.rounds),
        rounds_included=job.brief.rounds_included,
        fee=job.brief.fee,
        currency=job.brief.currency,
        since=job.created_at,
        until=events[-1].at if events else job.created_at,
    )


def add_minutes(folder: JobFolder, stage: Stage, minutes: float, what: str) -> None:
    """Enter time by hand: work away from the computer, or a correction (negative minutes)."""
    if not -10_000 < minutes < 10_000 or minutes == 0:
        raise InputError(f"minutes={minutes}: enter the minutes worked, up to 10000, negative to take some back.")
    folder.require_writable()
    folder.note(stage, what or "entered by hand", minutes=minutes)
