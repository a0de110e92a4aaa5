"""Pieces of work on a job that several views start; each runs in the worker's process."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from obbligato.job.intake import new_job
from obbligato.job.mapping import song_map
from obbligato.job.model import Brief
from obbligato.job.store import JobFolder
from obbligato.progress import Progress


def take_in(
    *, root: Path, guide: Path, vocal: Path | None, instrument: str, brief: dict[str, Any], progress: Progress
) -> str:
    """Start a job from a guide that arrived."""
    new_job(
        root, guide=guide, vocal=vocal, instrument=instrument, brief=Brief.model_validate(brief), progress=progress
    )
    return root.name


def listen(*, root: Path, progress: Progress) -> None:
    """Listen to a job's guide, unless that has been done."""
    song_map(JobFolder.open(root), progress=progress)
