"""The brief after the job has begun: what changes in it, and how long there is until the deadline."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from obbligato.errors import InputError
from obbligato.job.model import Brief
from obbligato.job.store import JobFolder

DATE_LENGTH = len("2026-12-01")


@dataclass(frozen=True)
class Deadline:
    """A deadline that is a date, seen from a moment.

    Attributes
    ----------
    day
        The day, in the client's time zone where the brief names one.
    days_left
        Nights until then; negative once it is over.
    is_over
        Whether the day, or the hour where one was agreed, has passed.
    words
        `tomorrow`, `in 6 days`, `overdue by 2 days`.
    """

    day: date
    days_left: int
    is_over: bool
    words: str


def deadline_of(brief: Brief, *, moment: datetime) -> Deadline | None:
    """The brief's deadline as a date; None when it has none, or has it in other words.

    Parameters
    ----------
    moment
        Now, with its time zone.

    Notes
    -----
    A date alone means until the end of that day. Where the brief names no zone, the zone of `moment` counts.
    """
    try:
        due = datetime.fromisoformat(brief.deadline.strip())
    except ValueError:
        return None
    zone = due.tzinfo or _zone(brief.time_zone) or moment.tzinfo
    here = moment.astimezone(zone)
    due = due.replace(tzinfo=zone)
    to_the_hour = len(brief.deadline.strip()) > DATE_LENGTH
    is_over = here > due if to_the_hour else here.date() > due.date()
    days_left = (due.date() - here.date()) // timedelta(days=1)
    return Deadline(due.date(), days_left, is_over, _words(days_left, due if to_the_hour else None, is_over))


def make_brief(**fields: Any) -> Brief:
    """A brief from its fields.

    Raises
    ------
    InputError
        When a field is unknown or its value cannot be used, or there is no title.
    """
    try:
        brief = Brief.model_validate(fields)
    except ValidationError as error:
        field = ".".join(map(str, error.errors()[0]["loc"])).replace("_", " ")
        raise InputError(f"The brief cannot take this as '{field}': {error.errors()[0]['msg']}.") from None
    if not brief.title.strip():
        raise InputError("The song needs a title; write at least one letter.")
    return brief


def change_brief(folder: JobFolder, **changes: Any) -> Brief:
    """Change fields of a job's brief; the others stay as they are.

    Raises
    ------
    InputError
        When a field is unknown or its value cannot be used.
    """
    old = folder.job.brief
    brief = make_brief(**{**old.model_dump(), **changes})
    changed = [name for name in Brief.model_fields if getattr(brief, name) != getattr(old, name)]
    if changed:
        folder.save("new", f"brief changed: {', '.join(changed).replace('_', ' ')}", brief=brief)
    return brief


def _zone(name: str) -> tzinfo | None:
    try:
        return ZoneInfo(name.strip()) if name.strip() else None
    except (ValueError, OSError, KeyError):
        return None


def _words(days_left: int, hour: datetime | None, is_over: bool) -> str:
    at = f" at {hour:%H:%M}" if hour else ""
    if days_left == 0:
        return f"overdue since {hour:%H:%M} today" if is_over and hour else f"today{at}"
    if days_left == 1:
        return f"tomorrow{at}"
    if days_left > 1:
        return f"in {days_left} days"
    return "overdue by a day" if days_left == -1 else f"overdue by {-days_left} days"
