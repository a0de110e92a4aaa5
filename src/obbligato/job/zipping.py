"""Folders as one zip file: in order and without dates, so that the same files give the same bytes."""

from __future__ import annotations

import os
import shutil
import zipfile
from pathlib import Path


def write_zip(folder: Path, target: Path, *, leave_out: frozenset[str] = frozenset()) -> None:
    """A folder as one file, whole or not at all.

    Nothing is compressed: sound and PDF hardly shrink, and storing them is quick.

    Parameters
    ----------
    leave_out
        Names of files and folders directly under `folder` that do not go along.
    """
    unfinished = target.with_name(f".{target.name}.{os.getpid()}.unfinished")
    files = sorted(
        path for path in folder.rglob("*") if path.is_file() and path.relative_to(folder).parts[0] not in leave_out
    )
    try:
        with zipfile.ZipFile(unfinished, "w", zipfile.ZIP_STORED) as archive:
            for path in files:
                entry = zipfile.ZipInfo(f"{folder.name}/{path.relative_to(folder).as_posix()}")
                entry.external_attr = 0o644 << 16
                entry.file_size = path.stat().st_size
                with path.open("rb") as source, archive.open(entry, "w") as packed:
                    shutil.copyfileobj(source, packed, 1 << 20)
        unfinished.rename(target)
    finally:
        unfinished.unlink(missing_ok=True)
