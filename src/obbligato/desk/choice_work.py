"""Work on takes: adding them, and reading and choosing; each runs in the worker's process."""

from __future__ import annotations

from pathlib import Path

from obbligato.job.choosing import render
from obbligato.job.keys import choice_key
from obbligato.job.store import JobFolder
from obbligato.job.taking import add_takes
from obbligato.progress import Progress


def add(*, root: Path, files: list[Path], starts_at_s: float | None, progress: Progress) -> list[int]:
    """Add files that arrived as takes; their numbers."""
    added = add_takes(JobFolder.open(root), tuple(files), starts_at_s=starts_at_s, progress=progress)
    return [take.number for take in added]


def choose(*, root: Path, progress: Progress) -> str:
    """Read and choose, and render the comp: again for as long as the player goes on choosing; the comp's folder."""
    while True:
        comp = render(JobFolder.open(root), progress=progress)
        folder = JobFolder.open(root)
        if folder.job.made_from("choose", choice_key(folder)):
            return comp
