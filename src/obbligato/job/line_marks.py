"""The marks of a version of the line, beside its MIDI file: `v3.json` tells what stands on the notes of `v3.mid`.

Notes are named by their index in the line, 0 being the first; without the file no note is marked. A version is never
changed, and neither is its file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import PurePosixPath
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from obbligato.errors import InputError
from obbligato.job.store import JobFolder
from obbligato.music.line import Note
from obbligato.music.marks import NO_MARKS, Level, NoteMarks, Sign, Swell


class _Marked(BaseModel):
    """One note of the file, with its marks."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    note: Annotated[int, Field(ge=0)]
    signs: tuple[Sign, ...] = ()
    level: Level | None = None
    swell: Swell | None = None
    slurred: bool = False
    breath: bool = False

    def to_marks(self) -> NoteMarks:
        return NoteMarks(self.signs, self.level, self.swell, self.slurred, self.breath)


class _MarksFile(BaseModel):
    """The whole file."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    format_version: Literal[1] = 1
    marked: tuple[_Marked, ...]


def marks_file(line_file: str) -> str:
    """Where the marks of a version lie, by where its MIDI file lies.

    >>> marks_file("line/v3.mid")
    'line/v3.json'
    """
    return str(PurePosixPath(line_file).with_suffix(".json"))


def marks_bytes(notes: Sequence[Note]) -> bytes | None:
    """The file for the marks on these notes; None where there are none."""
    marked = tuple(
        _Marked.model_validate({"note": index, **vars(note.marks)})
        for index, note in enumerate(notes)
        if note.marks != NO_MARKS
    )
    if not marked:
        return None
    text = _MarksFile(marked=marked).model_dump_json(indent=1, exclude_defaults=True)
    return text.replace("{\n", '{\n "format_version": 1,\n', 1).encode() + b"\n"


def stored_marks(folder: JobFolder, line_file: str) -> bytes | None:
    """What lies beside a version; None where nothing does."""
    path = folder.path(marks_file(line_file))
    return path.read_bytes() if path.is_file() else None


def with_marks(folder: JobFolder, line_file: str, notes: Sequence[Note]) -> tuple[Note, ...]:
    """The notes of a version with their marks.

    Raises
    ------
    InputError
        When the file beside it is no list of marks, or marks a note that the line does not have.
    """
    data = stored_marks(folder, line_file)
    if data is None:
        return tuple(notes)
    where = f"The marks in '{marks_file(line_file)}'"
    way_out = "put the file right, or move it away to have the line without marks."
    try:
        found = _MarksFile.model_validate_json(data)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"])) or "the file"
        raise InputError(f"{where} cannot be read ({place}: {first['msg']}); {way_out}") from None
    marks = {entry.note: entry.to_marks() for entry in found.marked}
    if marks and max(marks) >= len(notes):
        raise InputError(
            f"{where} name note {max(marks)}, but the line has the notes 0 to {len(notes) - 1}; {way_out}"
        )
    return tuple(replace(note, marks=marks.get(index, NO_MARKS)) for index, note in enumerate(notes))
