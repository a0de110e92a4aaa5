"""Work for the client: the review file, the pack, the statement; each runs in the worker's process."""

from __future__ import annotations

from pathlib import Path

from obbligato.job.approval import make_review
from obbligato.job.delivery import deliver
from obbligato.job.profiles import Profile
from obbligato.job.statement import write_statement
from obbligato.job.store import JobFolder
from obbligato.progress import Progress


def review(*, root: Path, progress: Progress) -> int:
    """Make the client's page; the number of its round."""
    return make_review(JobFolder.open(root), progress=progress).number


def pack(*, root: Path, profile: Profile, without_yes: bool, only_changed: bool, progress: Progress) -> str:
    """Write a pack and prove it; its folder in the job."""
    made = deliver(
        JobFolder.open(root), profile=profile, without_yes=without_yes, only_changed=only_changed, progress=progress
    )
    return made.folder


def statement(*, root: Path, progress: Progress) -> str:
    """Write a statement; its path in the job."""
    progress(0.1, "writing the statement")
    return write_statement(JobFolder.open(root))
