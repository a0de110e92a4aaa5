"""Files dropped on the page: streamed to disk beside the jobs, handed to the work that asks for them, then gone."""

from __future__ import annotations

import errno
import re
import secrets
import shutil
import unicodedata
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path

from obbligato.desk.errors import NoRoom
from obbligato.errors import InputError

LONGEST_NAME = 120
_FOLDER = ".desk-uploads"
_KEPT_FREE = 256 * 2**20


@dataclass(frozen=True)
class Upload:
    """A file that has arrived."""

    upload: str
    name: str
    path: Path

    @property
    def n_bytes(self) -> int:
        """Its size."""
        return self.path.stat().st_size


class Uploads:
    """The files waiting to be used; what an earlier run left is cleared at the start."""

    def __init__(self, root: Path) -> None:
        self.folder = root / _FOLDER
        self._files: dict[str, Upload] = {}
        shutil.rmtree(self.folder, ignore_errors=True)

    async def receive(self, name: str, body: AsyncIterator[bytes], *, stated_bytes: int = 0) -> Upload:
        """Write a body to disk under its own name, in a folder of its own; all of it or nothing.

        Raises
        ------
        InputError
            When the name is none or nothing was sent.
        NoRoom
            When the disk has no room for it.
        """
        safe = file_name(name)
        self.folder.mkdir(exist_ok=True)
        if shutil.disk_usage(self.folder).free < stated_bytes + _KEPT_FREE:
            raise NoRoom(f"There is no room on the disk for '{safe}'; make some, then drop it again.")
        upload = f"u-{secrets.token_hex(8)}"
        place = self.folder / upload
        place.mkdir()
        try:
            with (place / safe).open("xb") as file:
                async for piece in body:
                    file.write(piece)
            if not (place / safe).stat().st_size:
                raise InputError(f"'{safe}' is empty; choose another file.")
        except BaseException as error:
            shutil.rmtree(place, ignore_errors=True)
            if isinstance(error, OSError) and error.errno == errno.ENOSPC:
                raise NoRoom(f"The disk is full; make room, then drop '{safe}' again.") from None
            raise
        self._files[upload] = Upload(upload, safe, place / safe)
        return self._files[upload]

    def path(self, upload: str) -> Path:
        """Where a file that arrived lies; it has the name it came with.

        Raises
        ------
        InputError
            When nothing of that name arrived in this run, or it has been used already.
        """
        if upload not in self._files:
            raise InputError("That file has not arrived, or was used already; drop it again.")
        return self._files[upload].path

    def done(self, upload: str) -> None:
        """Forget a file that was used."""
        used = self._files.pop(upload, None)
        if used:
            shutil.rmtree(used.path.parent, ignore_errors=True)

    def clear(self) -> None:
        """Forget all of them."""
        self._files.clear()
        shutil.rmtree(self.folder, ignore_errors=True)


def file_name(name: str) -> str:
    """The last part of a name, without what a file system could stumble over.

    >>> file_name("../../etc/Where is it?.wav")
    'Where is it_.wav'

    Raises
    ------
    InputError
        When nothing is left of it.
    """
    last = unicodedata.normalize("NFC", re.split(r"[/\\]", name)[-1])
    safe = re.sub(r'[\x00-\x1f\x7f<>:"|?*\ud800-\udfff]', "_", last).strip(". ")
    if not safe or len(safe.encode()) > 2 * LONGEST_NAME or len(safe) > LONGEST_NAME:
        raise InputError("The file needs a name of 1 to 120 characters; rename it and drop it again.")
    return safe
