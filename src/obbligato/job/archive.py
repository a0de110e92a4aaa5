"""The whole job as one file to keep: readable without this program, the same bytes for the same job."""

from __future__ import annotations

from pathlib import Path

from obbligato.errors import InputError
from obbligato.job.store import JobFolder
from obbligato.job.zipping import write_zip

DISPOSABLE = frozenset({".cache"})


def archive_job(folder: JobFolder, target: Path) -> Path:
    """Write the job, all but its cache, to a zip file that must not exist yet.

    Raises
    ------
    InputError
        When the file exists, its folder does not, or it would lie inside the job.
    """
    if target.exists():
        raise InputError(f"'{target}' exists already and is never overwritten; give another name.")
    if not target.absolute().parent.is_dir():
        raise InputError(f"There is no folder '{target.absolute().parent}' to put the archive in; make it first.")
    if folder.root.resolve() in target.resolve().parents:
        raise InputError("The archive would lie inside the job that it holds; put it elsewhere.")
    write_zip(JobFolder.open(folder.root.resolve()).root, target, leave_out=DISPOSABLE)
    return target
