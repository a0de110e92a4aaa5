"""What changed, told to every open page: jobs (whoever changed them, the command line too) and work going on."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from typing import Any

from starlette.types import ASGIApp, Receive, Scope, Send

from obbligato.desk.folder import Jobs
from obbligato.desk.recording import Recording
from obbligato.desk.work import Work

LOOK_EVERY_S = 0.7
STILL_HERE_EVERY_S = 10.0


class Events:
    """The listeners, and the look at the disk that finds what changed."""

    def __init__(self, jobs: Jobs, work: Callable[[], Work], recording: Callable[[], Recording]) -> None:
        self._jobs = jobs
        self._work = work
        self._recording = recording
        self._going_on: dict[str, Any] = {}
        self._stamps: dict[str, str] | None = None
        self._tasks: list[dict[str, Any]] = []
        self._listeners: set[asyncio.Queue[str]] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._look_now: asyncio.Event | None = None

    async def watch(self) -> None:
        """Look, tell, and sleep until something was done or some time has passed; until cancelled."""
        self._loop, self._look_now = asyncio.get_running_loop(), asyncio.Event()
        while True:
            self._look_now.clear()
            await self._look()
            try:
                await asyncio.wait_for(self._look_now.wait(), LOOK_EVERY_S)
            except TimeoutError:
                continue

    def look_soon(self) -> None:
        """Something was done: look at once. May be called from any thread."""
        if self._loop and self._look_now and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._look_now.set)

    async def stream(self) -> AsyncIterator[str]:
        """Everything told from now on, as server-sent events, after the state of things now."""
        queue: asyncio.Queue[str] = asyncio.Queue()
        self._listeners.add(queue)
        try:
            state = {"jobs": self._stamps or {}, "tasks": self._tasks, "recording": self._going_on}
            yield _event({"type": "hello", **state})
            while True:
                try:
                    yield await asyncio.wait_for(queue.get(), STILL_HERE_EVERY_S)
                except TimeoutError:
                    yield ": still here\n\n"
        finally:
            self._listeners.discard(queue)

    async def _look(self) -> None:
        stamps = await asyncio.to_thread(lambda: {name: self._jobs.stamp(name) for name in self._jobs.names()})
        tasks = [task.model_dump() for task in self._work().tasks()]
        if self._stamps is not None and set(stamps) != set(self._stamps):
            self._tell({"type": "jobs", "jobs": stamps})
        for name, stamp in stamps.items():
            if self._stamps is not None and self._stamps.get(name, stamp) != stamp:
                self._tell({"type": "job", "job": name, "stamp": stamp})
        if tasks != self._tasks:
            self._tell({"type": "tasks", "tasks": tasks})
        going_on = self._recording().brief()
        if going_on != self._going_on:
            self._tell({"type": "recording", "recording": going_on})
        self._stamps, self._tasks, self._going_on = stamps, tasks, going_on

    def _tell(self, message: dict[str, Any]) -> None:
        for queue in self._listeners:
            queue.put_nowait(_event(message))


class AfterAChange:
    """ASGI middleware: whatever was asked for other than reading may have changed something, so look at once."""

    def __init__(self, app: ASGIApp, *, events: Events) -> None:
        self.app = app
        self.events = events

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, then look."""
        await self.app(scope, receive, send)
        if scope["type"] == "http" and scope["method"] not in {"GET", "HEAD"}:
            self.events.look_soon()


def _event(message: dict[str, Any]) -> str:
    return f"data: {json.dumps(message)}\n\n"
