"""The folder of jobs: which there are, opening one by its name, names for new ones. Nothing outside is reachable."""

from __future__ import annotations

import hashlib
from pathlib import Path

from obbligato.desk.errors import NotThere
from obbligato.errors import InputError
from obbligato.job.mapping import CORRECTIONS, FINDINGS, HEARD_SO_FAR
from obbligato.job.names import plain
from obbligato.job.store import HISTORY_FILE, JOB_FILE, UNFINISHED, JobFolder

_WATCHED = (JOB_FILE, HISTORY_FILE, CORRECTIONS, FINDINGS, f".cache/{HEARD_SO_FAR}")


class Jobs:
    """The jobs that lie side by side in one folder."""

    def __init__(self, root: Path) -> None:
        self.root = root

    @classmethod
    def at(cls, folder: Path) -> Jobs:
        """The jobs in a folder, which is made when it is not there.

        Raises
        ------
        InputError
            When it is a file or a job itself, or cannot be made.
        """
        if (folder / JOB_FILE).is_file():
            raise InputError(
                f"'{folder}' is a job; open the desk on the folder it lies in: {folder.resolve().parent}"
            )
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError(f"The folder '{folder}' cannot be used ({error.strerror}); name another.") from None
        return cls(folder.resolve())

    def names(self) -> list[str]:
        """The names of all jobs, in alphabetical order."""
        return sorted(
            path.parent.name
            for path in self.root.glob(f"*/{JOB_FILE}")
            if not path.parent.name.startswith(UNFINISHED) and not path.parent.is_symlink()
        )

    def path(self, name: str) -> Path:
        """Where a job lies.

        Raises
        ------
        NotThere
            When there is no job of that name directly in the folder.
        """
        if name not in self.names():
            raise NotThere(f"There is no job '{name}' in this folder; go back to the list of jobs.")
        return self.root / name

    def open(self, name: str) -> JobFolder:
        """Open a job by its name."""
        return JobFolder.open(self.path(name))

    def file(self, name: str, relative: str) -> Path:
        """A file inside a job.

        Raises
        ------
        NotThere
            When there is none, or the path leads out of the job.
        """
        root = self.path(name)
        path = (root / relative).resolve()
        if not path.is_relative_to(root) or not path.is_file():
            raise NotThere(f"There is no file '{relative}' in the job '{name}'.")
        return path

    def free_name(self, title: str) -> str:
        """A folder name for a new job, from its title: `NightFerry`, `NightFerry-2` ..."""
        name, number = plain(title), 1
        while (self.root / (name if number == 1 else f"{name}-{number}")).exists():
            number += 1
        return name if number == 1 else f"{name}-{number}"

    def stamp(self, name: str) -> str:
        """Changes whenever anything of the job changes on disk, whoever changed it."""
        states = []
        for relative in _WATCHED:
            try:
                stat = (self.root / name / relative).stat()
                states.append((relative, stat.st_mtime_ns, stat.st_size))
            except OSError:
                continue
        return hashlib.sha256(repr(states).encode()).hexdigest()[:12]
