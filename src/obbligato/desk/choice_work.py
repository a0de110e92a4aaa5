"""Work on takes: adding them, and reading and choosing; each runs in the worker's process."""

from __future__ import annotations

import tempfile
from pathlib import Path

from obbligato.job.choice_text import TEXT
from obbligato.job.choosing import render
from obbligato.job.cutting import cut_take
from obbligato.job.keys import choice_key
from obbligato.job.layering import layers_of
from obbligato.job.mending import mend as mend_take
from obbligato.job.mending import undo_mend
from obbligato.job.store import JobFolder
from obbligato.job.taking import add_takes
from obbligato.job.wishes import follow_text
from obbligato.progress import Progress


def add(*, root: Path, files: list[Path], starts_at_s: float | None, progress: Progress) -> list[int]:
    """Add files that arrived as takes; their numbers."""
    added = add_takes(JobFolder.open(root), tuple(files), starts_at_s=starts_at_s, progress=progress)
    return [take.number for take in added]


def mend(*, root: Path, take: int, mend: str, phrase: int | None, undo: bool, progress: Progress) -> list[str]:
    """Mend something in a take, or take it back; what is mended there now, with what it did."""
    folder = JobFolder.open(root)
    if undo:
        undo_mend(folder, take, mend, phrase=phrase)
        return []
    return list(mend_take(folder, take, mend, phrase=phrase, progress=progress).sentences)


def cut(*, root: Path, take: int, progress: Progress) -> list[int]:
    """Make each pass that a take holds a take of its own; their numbers."""
    progress(0.1, "finding the passes")
    return [new.number for new in cut_take(JobFolder.open(root), take)]


def follow(*, root: Path, text: str, progress: Progress) -> None:
    """Take over the choice as it was edited as text; refused with the line's number where one cannot be read."""
    folder = JobFolder.open(root)
    with tempfile.TemporaryDirectory() as temporary:
        edited = Path(temporary) / TEXT
        edited.write_text(text, encoding="utf-8")
        follow_text(folder, edited, progress=progress)


def layers(*, root: Path, takes: list[int], progress: Progress) -> list[str]:
    """Compare takes meant to be stacked; the sentences."""
    return list(layers_of(JobFolder.open(root), takes, progress=progress).sentences)


def choose(*, root: Path, progress: Progress) -> str:
    """Read and choose, and render the comp: again for as long as the player goes on choosing; the comp's folder."""
    while True:
        comp = render(JobFolder.open(root), progress=progress)
        folder = JobFolder.open(root)
        if folder.job.made_from("choose", choice_key(folder)):
            return comp
