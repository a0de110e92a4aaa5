"""The brief, the client's rounds, the delivery and the account."""

from __future__ import annotations

from typing import Annotated, Self

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field, model_validator

from obbligato.desk import client_work
from obbligato.desk.account_data import TimeView, time_view
from obbligato.desk.client_data import ClientView, client_view
from obbligato.desk.delivery_data import DeliveryView, delivery_view
from obbligato.desk.deps import DeskDep, JobDep
from obbligato.desk.job_data import RiskView
from obbligato.desk.work import TaskStarted
from obbligato.errors import NotRightError
from obbligato.job.account import add_minutes
from obbligato.job.approval import enter_reply, receive_reply
from obbligato.job.brief import change_brief
from obbligato.job.model import Brief, Stage
from obbligato.job.profiles import Profile
from obbligato.job.risks import QUESTIONS
from obbligato.page.review_reply import MAX_REPLY_CHARS

router = APIRouter()


class BriefChange(Brief):
    """The fields of a brief that are to change; the others may be left out and stay."""

    title: Annotated[str, Field(max_length=20_000)] = ""


class ReplyGiven(BaseModel):
    """The client's answer: a file that arrived, or the text of it."""

    model_config = ConfigDict(extra="forbid")

    upload: Annotated[str | None, Field(min_length=1, max_length=40)] = None
    text: Annotated[str | None, Field(min_length=1, max_length=MAX_REPLY_CHARS)] = None

    @model_validator(mode="after")
    def _one_of_them(self) -> Self:
        if (self.upload is None) == (self.text is None):
            raise ValueError("give either the upload or the text")
        return self


class DeliveryOrder(BaseModel):
    """How to deliver."""

    model_config = ConfigDict(extra="forbid")

    profile: Profile = Profile()
    only_changed: bool = False
    without_yes: bool = False


class HoursGiven(BaseModel):
    """Time worked away from the computer; negative to take some back."""

    model_config = ConfigDict(extra="forbid")

    stage: Stage
    minutes: Annotated[float, Field(ge=-9_999, le=9_999, allow_inf_nan=False)]
    what: Annotated[str, Field(max_length=500)] = ""


@router.get("/brief-questions")
def brief_questions() -> list[RiskView]:
    """The questions worth asking before a job begins, and what each may cost while it is open."""
    return [RiskView(question=q.question, consequence=q.consequence, fields=list(q.fields)) for q in QUESTIONS]


@router.patch("/jobs/{job}/brief")
def brief(change: BriefChange, folder: JobDep) -> Brief:
    """Change what was agreed."""
    return change_brief(folder, **{name: getattr(change, name) for name in change.model_fields_set})


@router.get("/jobs/{job}/client")
def client(folder: JobDep, desk: DeskDep) -> ClientView:
    """The rounds with the client, and whether the newest line can be sent."""
    return client_view(desk, folder)


@router.post("/jobs/{job}/review", status_code=202)
def review(folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Make the client's review file of the newest line; a new round begins."""
    view = client_view(desk, folder)
    if not view.can_send:
        raise NotRightError(view.sentence)
    name = folder.root.name
    return TaskStarted(task=desk.work.start(name, "making the client's page", client_work.review, root=folder.root))


@router.post("/jobs/{job}/reply")
def reply(given: ReplyGiven, folder: JobDep, desk: DeskDep) -> ClientView:
    """Read the client's answer and enter it against its round."""
    if given.upload is not None:
        receive_reply(folder, desk.uploads.path(given.upload))
        desk.uploads.done(given.upload)
    else:
        enter_reply(folder, given.text or "")
    return client_view(desk, folder)


@router.get("/jobs/{job}/delivery")
def delivery(folder: JobDep, desk: DeskDep) -> DeliveryView:
    """What stands in the way of a delivery, and every pack with its proofs."""
    return delivery_view(desk, folder)


@router.post("/jobs/{job}/delivery", status_code=202)
def deliver(order: DeliveryOrder, folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Write a pack, open it again from disk and prove it."""
    view = delivery_view(desk, folder)
    if not view.can_deliver:
        raise NotRightError(" ".join(step.sentence for step in view.before if step.stops))
    if view.needs_consent and not order.without_yes:
        asks = " ".join(step.sentence for step in view.before if step.asks)
        raise NotRightError(f"{asks} Wait for the answer, or say that you deliver all the same.")
    task = desk.work.start(
        folder.root.name,
        "writing and proving the pack",
        client_work.pack,
        root=folder.root,
        profile=order.profile,
        only_changed=order.only_changed,
        without_yes=order.without_yes,
    )
    return TaskStarted(task=task)


@router.get("/jobs/{job}/time")
def time(folder: JobDep, desk: DeskDep) -> TimeView:
    """Hours by stage, rounds, fee and statements."""
    return time_view(desk, folder)


@router.post("/jobs/{job}/hours")
def hours(given: HoursGiven, folder: JobDep, desk: DeskDep) -> TimeView:
    """Enter time by hand, or take some back."""
    add_minutes(folder, given.stage, given.minutes, given.what)
    return time_view(desk, folder)


@router.post("/jobs/{job}/statement", status_code=202)
def statement(folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Write a new statement as a PDF."""
    name = folder.root.name
    return TaskStarted(task=desk.work.start(name, "writing the statement", client_work.statement, root=folder.root))
