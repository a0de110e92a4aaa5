"""Work going on, its cancelling, what changed, and files on their way in."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import StreamingResponse
from pydantic import BaseModel

from obbligato.desk.deps import DeskDep
from obbligato.desk.errors import NotThere
from obbligato.desk.uploads import LONGEST_NAME
from obbligato.desk.work import Task

router = APIRouter()

TaskId = Annotated[str, Path(min_length=1, max_length=40)]


class Arrived(BaseModel):
    """A file that arrived."""

    upload: str
    name: str
    bytes: int


@router.get("/tasks")
def tasks(desk: DeskDep) -> list[Task]:
    """All work of this run, oldest first."""
    return desk.work.tasks()


@router.get("/tasks/{task}")
def task(task: TaskId, desk: DeskDep) -> Task:
    """One piece of work."""
    return _there(desk.work.get(task))


@router.post("/tasks/{task}/cancel")
def cancel(task: TaskId, desk: DeskDep) -> Task:
    """Stop a piece of work; what had ended stays as it ended."""
    return _there(desk.work.cancel(task))


@router.get("/events", response_class=StreamingResponse, responses={200: {"content": {"text/event-stream": {}}}})
async def events(desk: DeskDep) -> StreamingResponse:
    """What changes from now on, as server-sent events."""
    return StreamingResponse(
        desk.events.stream(), media_type="text/event-stream", headers={"Cache-Control": "no-store"}
    )


@router.put(
    "/uploads",
    status_code=201,
    openapi_extra={"requestBody": {"required": True, "content": {"application/octet-stream": {"schema": {}}}}},
)
async def upload(
    request: Request, desk: DeskDep, name: Annotated[str, Query(min_length=1, max_length=LONGEST_NAME)]
) -> Arrived:
    """Take in a file, streamed to disk; it waits there for the request that uses it."""
    stated = int(request.headers.get("content-length", "0"))
    arrived = await desk.uploads.receive(name, request.stream(), stated_bytes=stated)
    return Arrived(upload=arrived.upload, name=arrived.name, bytes=arrived.n_bytes)


def _there(found: Task | None) -> Task:
    if found is None:
        raise NotThere("There is no such work in this run of the desk.")
    return found
