"""Takes that were cut off while they ran (power, a killed program, a sleeping computer): put into the job later.

Every command asks for them when it says what is next, so what records is loaded only where there is such a take.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError

from obbligato.errors import InputError
from obbligato.job.names import ROLLING
from obbligato.job.store import JobFolder

if TYPE_CHECKING:
    from obbligato.job.recording import Recorded, RecordingFacts

ABANDONED_AFTER_S = 10.0
"""A take that runs is written every half second; one untouched for so long has nobody who writes it."""


def cut_off_takes(folder: JobFolder) -> tuple[Path, ...]:
    """The files of takes that nobody is recording any more."""
    return tuple(path for path in sorted(folder.root.glob(f"takes/{ROLLING}*.wav")) if not _runs(path))


def recover_takes(folder: JobFolder) -> tuple[Recorded, ...]:
    """Make takes of all that were cut off; those without any sound are removed."""
    from obbligato.job.recording import keep_recorded

    found = []
    for path in cut_off_takes(folder):
        number = int(path.stem.removeprefix(ROLLING))
        try:
            found.append(keep_recorded(folder, number, _facts(path).model_copy(update={"ended": "cut"})))
        except InputError:
            if path.exists():
                raise
    return tuple(found)


def _facts(path: Path) -> RecordingFacts:
    from obbligato.job.recording import RecordingFacts

    try:
        return RecordingFacts.model_validate_json(path.with_suffix(".json").read_bytes())
    except (OSError, ValidationError):
        raise InputError(
            f"'{path}' was cut off and its note is missing; add it by hand: obbligato takes JOB add {path}"
        ) from None


def _runs(path: Path) -> bool:
    if time.time() - path.stat().st_mtime < ABANDONED_AFTER_S:
        return _is_alive(path)
    return False


def _is_alive(path: Path) -> bool:
    """Whether the process that began a take is there; taken for granted where that cannot be asked."""
    try:
        process = _facts(path).process
    except InputError:
        return True
    if sys.platform == "win32" or process == os.getpid():
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
