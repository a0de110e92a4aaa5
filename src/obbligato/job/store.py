"""The job folder on disk: opening, saving without half-written states, never overwriting, the history."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from obbligato.errors import InputError
from obbligato.job.model import Event, Job, Made, Stage
from obbligato.sound.atomic import write_bytes_at_once

JOB_FILE = "job.json"
HISTORY_FILE = "history.jsonl"
UNFINISHED = ".unfinished-"
ABANDONED_AFTER_S = 24 * 3600.0
"""An unfinished folder untouched for so long was left by a command that was cut off, not by one at work."""


def now() -> datetime:
    """The present moment, in UTC, to the second."""
    return datetime.now(UTC).replace(microsecond=0)


class JobFolder:
    """An existing job; every change of the folder goes through here."""

    def __init__(self, root: Path, job: Job) -> None:
        self.root = root
        self.job = job

    @classmethod
    def open(cls, folder: Path) -> JobFolder:
        """Open a job, refusing what is none.

        Raises
        ------
        InputError
            When the folder is not there, holds no readable `job.json`, or was written by a later version.
        """
        path = folder / JOB_FILE
        if not folder.exists():
            raise InputError(
                f"There is no job folder '{folder}'; start one with: obbligato new JOB --guide FILE --instrument NAME"
            )
        if not path.is_file():
            raise InputError(f"'{folder}' is not a job folder: it has no {JOB_FILE}; check the name.")
        return cls(folder, _read_job(path))

    def path(self, relative: str) -> Path:
        """A path inside the job folder."""
        return self.root / relative

    def save(self, stage: Stage, what: str, **changes: Any) -> None:
        """Change the job, and write down in the history what was decided.

        What another command changed since the job was opened stays, unless it is one of the things changed here.

        Raises
        ------
        InputError
            When the folder cannot be written, or another command changed the same thing meanwhile.
        """
        self.require_writable()
        on_disk = _read_job(self.root / JOB_FILE)
        if "made" in changes:
            changes["made"] = (*on_disk.made, *changes["made"][len(self.job.made) :])
        if any(getattr(on_disk, name) != getattr(self.job, name) for name in changes if name != "made"):
            raise InputError("Another command changed this job meanwhile; nothing was saved, run this one again.")
        job = Job.model_validate({**dict(on_disk), **changes, "revision": on_disk.revision + 1})
        write_bytes_at_once(self.root / JOB_FILE, job.model_dump_json(indent=2).encode(), overwrite=True)
        self.job = job
        self.note(stage, what)

    def note(self, stage: Stage, what: str, *, minutes: float | None = None) -> None:
        """Add a line to the history."""
        event = Event(at=now(), stage=stage, what=what, minutes=minutes)
        path = self.root / HISTORY_FILE
        cut_short = path.exists() and path.stat().st_size > 0 and not path.read_bytes().endswith(b"\n")
        with path.open("a", encoding="utf-8") as file:
            file.write("\n" * cut_short + event.model_dump_json(exclude_none=True) + "\n")

    def history(self) -> list[Event]:
        """All events, oldest first; a line cut short by a crash is left out."""
        path = self.root / HISTORY_FILE
        events = []
        for line in path.read_text(encoding="utf-8").splitlines() if path.exists() else []:
            try:
                events.append(Event.model_validate_json(line))
            except ValidationError:
                continue
        return events

    def require_writable(self) -> None:
        """Refuse to change a job in a write-protected folder."""
        require_writable(self.root)

    @contextmanager
    def new_folder(self, parent: str, name: str) -> Iterator[tuple[Path, str]]:
        """Fill a new folder `parent/name` (or `name-2`, `name-3` ... when taken), all of it or nothing.

        Inside the block the folder has a temporary name, and is given with the name inside the job that it gets when
        the block ends without an error; it is removed otherwise.
        """
        self.require_writable()
        (self.root / parent).mkdir(parents=True, exist_ok=True)
        final = self._free_name(parent, name)
        target = self.root / final
        _remove_abandoned(self.root / parent)
        temporary = Path(tempfile.mkdtemp(prefix=unfinished_prefix(), dir=self.root / parent))
        try:
            yield temporary, final
            temporary.chmod(0o755)
            if target.exists():
                raise InputError(
                    "Another command is at work on this job; wait until it has ended, then run this again."
                )
            temporary.rename(target)
        except BaseException:
            shutil.rmtree(temporary, ignore_errors=True)
            raise

    def _free_name(self, parent: str, name: str) -> str:
        """The first of `parent/name`, `parent/name-2` ... that nothing has yet."""
        candidate, number = f"{parent}/{name}", 1
        while (self.root / candidate).exists():
            number += 1
            candidate = f"{parent}/{name}-{number}"
        return candidate

    def add_file(self, relative: str, data: bytes) -> None:
        """Write a file that must not exist yet."""
        self.require_writable()
        path = self.root / relative
        if path.exists():
            raise InputError(f"'{relative}' exists already in this job and is never overwritten; move it away first.")
        path.parent.mkdir(parents=True, exist_ok=True)
        write_bytes_at_once(path, data)

    def cached(self, key: str) -> bytes | None:
        """A result kept from before under `key`, if it is there."""
        path = self.root / ".cache" / key
        return path.read_bytes() if path.is_file() else None

    def keep(self, key: str, data: bytes) -> None:
        """Keep a result under `key`; the cache may be deleted at any time."""
        self.require_writable()
        path = self.root / ".cache" / key
        path.parent.mkdir(parents=True, exist_ok=True)
        write_bytes_at_once(path, data, overwrite=True)

    def made(self, stage: Stage, folder: str, *, from_key: str, line_version: int | None = None) -> tuple[Made, ...]:
        """The list of things made, with one more."""
        new = Made(stage=stage, folder=folder, at=now(), from_key=from_key, line_version=line_version)
        return (*self.job.made, new)


def require_writable(folder: Path) -> None:
    """Refuse a folder that is write-protected, also for a user who could write there all the same."""
    protected = not folder.stat().st_mode & 0o222
    if protected or not os.access(folder, os.W_OK):
        raise InputError(f"The folder '{folder}' is write-protected; allow writing there and try again.")


def unfinished_prefix() -> str:
    """How the name of a folder that this process is filling begins."""
    return f"{UNFINISHED}{os.getpid()}-"


def remove_left_by(pid: int, root: Path) -> None:
    """Remove what a process that was stopped had begun to write anywhere under `root`, jobs not yet made included."""
    for folder in list(root.rglob(f"{UNFINISHED}{pid}-*")):
        shutil.rmtree(folder, ignore_errors=True)
    for file in list(root.rglob(f".*.{pid}.unfinished")):
        file.unlink(missing_ok=True)


def _remove_abandoned(parent: Path) -> None:
    for left in parent.glob(f"{UNFINISHED}*"):
        if time.time() - left.stat().st_mtime > ABANDONED_AFTER_S:
            shutil.rmtree(left, ignore_errors=True)


def fingerprint(*parts: object) -> str:
    """Twelve hex digits that change when any of the parts does."""
    text = json.dumps([str(part) for part in parts])
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def _read_job(path: Path) -> Job:
    try:
        return Job.model_validate_json(path.read_bytes())
    except ValidationError as error:
        place = ".".join(map(str, error.errors()[0]["loc"])) or "the file"
        raise InputError(
            f"'{path}' cannot be read as a job ({place}: {error.errors()[0]['msg']}); "
            "restore it from a copy, or use the version of this program that wrote it."
        ) from None
