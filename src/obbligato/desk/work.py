"""Long work, done in processes of its own, so that the page is answered at once meanwhile, and work can be stopped.

A process that is stopped tidies up behind itself, as after an error; what it cannot in time, is removed for it. Each
lane has one process that is kept warm and does one piece of work after another: `work` for what changes a job,
`sounds` for what is only rendered to be heard.
"""

from __future__ import annotations

import multiprocessing
import secrets
import signal
import sys
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any, Literal

from pydantic import BaseModel

from obbligato.desk.words import page_words
from obbligato.errors import ObbligatoError
from obbligato.progress import Progress

Lane = Literal["work", "sounds"]
State = Literal["waiting", "running", "done", "failed", "cancelled"]
REMEMBERED = 60
STOPS_WITHIN_S = 0.5
"""So long a process may tidy up behind itself before it is killed."""
Target = Callable[..., Any]
"""A top-level function that does a piece of work, called with `progress=` and what `start` was given, by name.

What it returns is plain JSON.
"""

_CONTEXT = multiprocessing.get_context("spawn")


class Task(BaseModel):
    """A piece of work as the page sees it."""

    id: str
    job: str
    what: str
    lane: Lane
    state: State = "waiting"
    fraction: float = 0.0
    message: str = ""
    error: str | None = None
    result: Any = None


class TaskStarted(BaseModel):
    """The answer to a request whose work goes on."""

    task: Task


@dataclass
class _Piece:
    task: Task
    target: Target
    kwargs: dict[str, Any]
    finally_do: Callable[[], None] | None = None


@dataclass
class _Process:
    process: Any = None
    connection: Connection | None = None
    running: _Piece | None = None
    waiting: list[_Piece] = field(default_factory=list)


class Work:
    """The lanes, and every piece of work of this run."""

    def __init__(self, changed: Callable[[], None], clear: Callable[[int], None] = lambda pid: None) -> None:
        """`clear` is given the id of a process that was stopped, and removes what it had begun to write."""
        self._changed = changed
        self._clear = clear
        self._lock = threading.RLock()
        self._tasks: dict[str, Task] = {}
        self._lanes: dict[Lane, _Process] = {}
        self._open = True

    def warm_up(self) -> None:
        """Start the processes before they are needed."""
        with self._lock:
            for lane in ("work", "sounds"):
                self._ready(lane)

    def start(
        self,
        job: str,
        what: str,
        target: Target,
        *,
        lane: Lane = "work",
        finally_do: Callable[[], None] | None = None,
        **kwargs: Any,
    ) -> Task:
        """Queue a piece of work; `finally_do` is called in this process when it has ended in whatever way."""
        task = Task(id=f"t-{secrets.token_hex(6)}", job=job, what=what, lane=lane)
        with self._lock:
            self._tasks[task.id] = task
            self._ready(lane).waiting.append(_Piece(task, target, kwargs, finally_do))
            self._forget_old()
            self._next(lane)
        self._changed()
        return task.model_copy()

    def tasks(self) -> list[Task]:
        """Every piece of work remembered, oldest first."""
        with self._lock:
            return [task.model_copy() for task in self._tasks.values()]

    def get(self, task_id: str) -> Task | None:
        """One piece of work."""
        with self._lock:
            task = self._tasks.get(task_id)
            return task.model_copy() if task else None

    def cancel(self, task_id: str) -> Task | None:
        """Stop a piece of work; one that has ended stays as it ended."""
        with self._lock:
            for lane, process in self._lanes.items():
                piece = next((p for p in process.waiting if p.task.id == task_id), None)
                if piece:
                    process.waiting.remove(piece)
                    self._end(piece, "cancelled")
                elif process.running and process.running.task.id == task_id:
                    piece, process.running = process.running, None
                    self._stop(lane)
                    self._end(piece, "cancelled")
                    self._next(lane)
        self._changed()
        return self.get(task_id)

    def busy(self, job: str) -> Task | None:
        """The piece of work going on in a job that changes it, if there is one."""
        with self._lock:
            lane = self._lanes.get("work")
            pieces = ([lane.running] if lane and lane.running else []) + (lane.waiting if lane else [])
            return next((piece.task.model_copy() for piece in pieces if piece.task.job == job), None)

    def close(self) -> None:
        """Stop everything; what was going on is given up, and nothing of it is left half-written."""
        with self._lock:
            self._open = False
            for lane in list(self._lanes):
                self._stop(lane)

    def _ready(self, lane: Lane) -> _Process:
        state = self._lanes.setdefault(lane, _Process())
        if state.process is None or not state.process.is_alive():
            ours, theirs = _CONTEXT.Pipe()
            state.process = _CONTEXT.Process(target=_serve, args=(theirs, lane), daemon=True, name=f"desk-{lane}")
            state.process.start()
            theirs.close()
            state.connection = ours
            threading.Thread(target=self._follow, args=(lane, ours), daemon=True, name=f"follow-{lane}").start()
        return state

    def _stop(self, lane: Lane) -> None:
        state = self._lanes[lane]
        if state.process is not None:
            state.process.terminate()
            state.process.join(STOPS_WITHIN_S)
            state.process.kill()
            state.process.join(5.0)
            self._clear(state.process.pid)
        state.process = None

    def _next(self, lane: Lane) -> None:
        state = self._ready(lane) if self._open else self._lanes[lane]
        if state.running or not state.waiting or state.connection is None:
            return
        state.running = piece = state.waiting.pop(0)
        piece.task.state = "running"
        state.connection.send((piece.task.id, piece.target, piece.kwargs))

    def _follow(self, lane: Lane, connection: Connection) -> None:
        """Read what a process reports until it ends."""
        while True:
            try:
                kind, task_id, *rest = connection.recv()
            except (EOFError, OSError):
                break
            self._take_report(lane, kind, task_id, rest)
        connection.close()
        with self._lock:
            state = self._lanes[lane]
            if state.connection is not connection or not self._open:
                return
            piece, state.running = state.running, None
            if piece:
                self._end(
                    piece,
                    "failed",
                    error="The work was cut off (the machine may be short of memory); start it again.",
                )
            state.process = None
            self._next(lane)
        self._changed()

    def _take_report(self, lane: Lane, kind: str, task_id: str, rest: list[Any]) -> None:
        with self._lock:
            state = self._lanes[lane]
            piece = state.running
            if piece is None or piece.task.id != task_id:
                return
            if kind == "progress":
                piece.task.fraction, piece.task.message = rest
            else:
                state.running = None
                if kind == "done":
                    self._end(piece, "done", result=rest[0])
                else:
                    self._end(piece, "failed", error=rest[0])
                self._next(lane)
        self._changed()

    def _end(self, piece: _Piece, state: State, *, result: Any = None, error: str | None = None) -> None:
        piece.task.state, piece.task.result, piece.task.error = state, result, error
        if state == "done":
            piece.task.fraction = 1.0
        if piece.finally_do:
            piece.finally_do()

    def _forget_old(self) -> None:
        ended = [key for key, task in self._tasks.items() if task.state in {"done", "failed", "cancelled"}]
        for key in ended[: max(0, len(ended) - REMEMBERED)]:
            del self._tasks[key]


def _serve(connection: Connection, lane: Lane) -> None:
    """The life of a process: one piece of work after another, each reported on."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit())
    if lane == "work":
        _import_ahead()
    while True:
        try:
            task_id, target, kwargs = connection.recv()
        except (EOFError, OSError):
            return
        try:
            result = target(progress=_reporter(connection, task_id), **kwargs)
            connection.send(("done", task_id, result))
        except ObbligatoError as error:
            connection.send(("failed", task_id, page_words(str(error))))
        except OSError as error:
            connection.send(("failed", task_id, f"The disk did not take it ({error.strerror}); nothing was lost."))
        except Exception:
            traceback.print_exc()
            connection.send(("failed", task_id, "Something broke at this; the job is unharmed. See the terminal."))


def _reporter(connection: Connection, task_id: str) -> Progress:
    def report(fraction: float, message: str) -> None:
        connection.send(("progress", task_id, min(max(float(fraction), 0.0), 1.0), message))

    return report


def _import_ahead() -> None:
    """Load what listening needs while nobody waits for it."""
    import obbligato.listen.pipeline
    import obbligato.listen.voice
    import obbligato.sound.intake  # noqa: F401
