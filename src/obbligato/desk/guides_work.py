"""Work on guides: comparing one with that in force, and going by it; each runs in the worker's process."""

from __future__ import annotations

from pathlib import Path

from obbligato.job.mapping import song_map
from obbligato.job.new_guide import compare_guide, guide_report
from obbligato.job.store import JobFolder
from obbligato.job.taking_over import take_over_guide
from obbligato.progress import Progress, part_of


def take_in(*, root: Path, file: Path, progress: Progress) -> str:
    """Take a guide that arrived in and compare it; its fingerprint."""
    return compare_guide(JobFolder.open(root), file, progress=progress).sha256


def compare(*, root: Path, guide: str, progress: Progress) -> str:
    """Compare a guide that was taken in before; its fingerprint."""
    return guide_report(JobFolder.open(root), guide, progress=progress).sha256


def take_over(*, root: Path, guide: str, progress: Progress) -> list[str]:
    """Go by another guide and listen to it; what was done, in sentences."""
    folder = JobFolder.open(root)
    taken = take_over_guide(folder, guide, progress=part_of(progress, 0.0, 0.3))
    song_map(folder, progress=part_of(progress, 0.3, 1.0))
    return list(taken.sentences)
