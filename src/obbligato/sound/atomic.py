"""Files that appear whole or not at all."""

from __future__ import annotations

import os
import threading
from pathlib import Path

from obbligato.errors import InputError


def write_bytes_at_once(path: Path, content: bytes, *, overwrite: bool = False) -> None:
    """Write `content` under another name beside `path`, then rename.

    The other name is this thread's own, so that several may write the same file at once; the last one's stays.

    Raises
    ------
    InputError
        When `path` exists and `overwrite` is off, or its folder is missing or cannot be written.
    """
    if path.exists() and not overwrite:
        raise InputError(f"'{path}' exists already and is not overwritten; choose another name.")
    if not path.parent.is_dir():
        raise InputError(f"There is no folder '{path.parent}' to write '{path.name}' into; make it first.")
    unfinished = path.with_name(f".{path.name}.{threading.get_ident():x}.{os.getpid()}.unfinished")
    try:
        unfinished.write_bytes(content)
        unfinished.replace(path)
    except OSError as error:
        raise InputError(f"'{path}' cannot be written ({error.strerror}); check the folder and the disk.") from error
    finally:
        unfinished.unlink(missing_ok=True)
