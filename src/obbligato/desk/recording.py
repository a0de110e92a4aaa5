"""Recording as the desk holds it: a process begun when it is first needed, and one thing at a time in it."""

from __future__ import annotations

import contextlib
import multiprocessing
import secrets
import threading
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Literal

from obbligato.desk.record_data import Outcome, RecordingState
from obbligato.desk.record_work import serve_recording
from obbligato.errors import NotRightError
from obbligato.play.devices import DeviceLibrary

ANSWERS_WITHIN_S = 20.0
ENDS_WITHIN_S = 15.0
"""So long a take that is stopped by the desk's end may need to be put into its job."""

_CONTEXT = multiprocessing.get_context("spawn")


class Recording:
    """What records, and how it goes; all methods may be called from any thread."""

    def __init__(self, changed: Callable[[], None], library: DeviceLibrary) -> None:
        """`changed` is called when something begins or ends."""
        self._changed, self._library = changed, library
        self._lock = threading.RLock()
        self._process: Any = None
        self._connection: Connection | None = None
        self._state = RecordingState()
        self._at_s = time.monotonic()
        self._answer: Any = None
        self._answered = threading.Event()
        self._asking = threading.Lock()
        self._asked = 0
        self._open = True

    def state(self) -> RecordingState:
        """How it goes at this moment."""
        with self._lock:
            age_s = time.monotonic() - self._at_s
            return self._state.model_copy(update={"age_s": age_s})

    def brief(self) -> dict[str, Any]:
        """What every page is told when it changes: whether something is recorded, and what came last."""
        with self._lock:
            state = self._state
            outcome = state.outcome.id if state.outcome else ""
            return {"phase": state.phase, "job": state.job, "number": state.number, "outcome": outcome}

    def start(self, what: Literal["check", "calibrate", "record"], root: Path, **asked: Any) -> RecordingState:
        """Begin to check, calibrate or record.

        Raises
        ------
        NotRightError
            While something else is going on.
        """
        with self._lock:
            if self._state.phase != "idle":
                raise NotRightError(f"{_going_on(self._state)}; stop that first.")
            self._asked += 1
            self._send(what, {"asked": self._asked, "root": root, **asked})
            # Taken as begun at once, so that a second request in the same moment is refused.
            self._state = RecordingState(
                phase="making", asked=self._asked, job=root.name, outcome=self._state.outcome
            )
            self._at_s = time.monotonic()
        self._changed()
        return self.state()

    def stop(self, *, at_once: bool) -> RecordingState:
        """Stop what is going on; nothing happens when nothing is."""
        with self._lock:
            if self._state.phase != "idle":
                self._send("stop", {"at_once": at_once})
        return self.state()

    def devices(self) -> list[dict[str, Any]]:
        """The devices plugged in now.

        Raises
        ------
        NotRightError
            When they cannot be had; says why.
        """
        with self._asking:
            self._answered.clear()
            with self._lock:
                self._send("devices", {})
            if not self._answered.wait(ANSWERS_WITHIN_S):
                raise NotRightError("The audio devices do not answer; unplug and plug in the one you use.")
            if isinstance(self._answer, str):
                raise NotRightError(self._answer)
            found: list[dict[str, Any]] = self._answer
            return found

    def close(self) -> None:
        """End it; a take that runs is stopped and put into its job first."""
        with self._lock:
            self._open = False
            process, connection = self._process, self._connection
            if process is None or connection is None:
                return
            with contextlib.suppress(OSError):
                connection.send(("end", {}))
        process.join(ENDS_WITHIN_S)
        process.kill()

    def _send(self, what: str, asked: dict[str, Any]) -> None:
        if not self._open:
            raise NotRightError("The desk is being closed; start it again first.")
        if self._process is None or not self._process.is_alive() or self._connection is None:
            ours, theirs = _CONTEXT.Pipe()
            self._process = _CONTEXT.Process(
                target=serve_recording, args=(theirs, self._library), daemon=True, name="desk-recording"
            )
            self._process.start()
            theirs.close()
            self._connection = ours
            threading.Thread(target=self._follow, args=(ours,), daemon=True, name="follow-recording").start()
        self._connection.send((what, asked))

    def _follow(self, connection: Connection) -> None:
        while True:
            try:
                kind, told = connection.recv()
            except (EOFError, OSError):
                break
            if kind == "devices":
                self._answer = told
                self._answered.set()
            else:
                self._take_over(RecordingState.model_validate(told))
        connection.close()
        self._lost(connection)

    def _take_over(self, state: RecordingState) -> None:
        with self._lock:
            if state.asked < self._asked:  # told before the last request came
                return
            before = self.brief()
            self._state = state.model_copy(update={"outcome": state.outcome or self._state.outcome})
            self._at_s = time.monotonic()
            has_changed = self.brief() != before
        if has_changed:
            self._changed()

    def _lost(self, connection: Connection) -> None:
        """The process is gone: say so, and go on with a new one when asked."""
        with self._lock:
            if self._connection is not connection or not self._open:
                return
            self._process = self._connection = None
            outcome = self._state.outcome
            if self._state.phase != "idle":
                said = "The recorder was cut off; what was recorded is kept, and is put into the job from here."
                outcome = Outcome(
                    id=secrets.token_hex(6),
                    what="record",
                    kind="refused",
                    job=self._state.job,
                    sentences=[said],
                    failed=True,
                )
            self._state = RecordingState(asked=self._asked, outcome=outcome)
        self._changed()


def _going_on(state: RecordingState) -> str:
    if state.phase == "checking":
        return f"The ready check of '{state.job}' is going on"
    if state.phase == "calibrating":
        return "The way out and back is being measured"
    if state.number is None:
        return f"A take of '{state.job}' is being begun"
    return f"Take {state.number} of '{state.job}' is being recorded"
