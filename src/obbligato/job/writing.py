"""The line of a job: versions given as MIDI, placed on the song's grid."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from obbligato.errors import InputError
from obbligato.job.line_marks import marks_bytes, marks_file, stored_marks, with_marks
from obbligato.job.mapping import song_map
from obbligato.job.model import LineVersion
from obbligato.job.own_figures import own_figures
from obbligato.job.store import JobFolder
from obbligato.music.grid import Grid
from obbligato.music.instruments import Instrument, find_instrument
from obbligato.music.line import Line, Note
from obbligato.music.marking import carried_marks
from obbligato.music.midi import place, read_midi
from obbligato.music.phrases import find_phrases
from obbligato.progress import Progress, silent

Start = Literal["auto", "guide", "bar-1"]


@dataclass(frozen=True)
class PlacedLine:
    """A version of the line on the song's grid, with sentences on how the file was read."""

    version: LineVersion
    line: Line
    sentences: tuple[str, ...] = ()


def add_line(
    folder: JobFolder,
    file: Path,
    *,
    start: Start = "auto",
    marked: Sequence[Note] | None = None,
    progress: Progress = silent,
) -> PlacedLine:
    """Add a version of the line from a MIDI file in sounding pitch; the performance is kept as it is.

    Parameters
    ----------
    marked
        The notes of the file with their marks, which a MIDI file cannot hold. Left out, the notes that were in the
        version before keep the marks they had there.

    Raises
    ------
    InputError
        When the file is no usable MIDI file, or is already the newest version.
    """
    folder.require_writable()
    performance = read_midi(file)
    data = file.read_bytes()
    sha256 = hashlib.sha256(data).hexdigest()
    lines = folder.job.lines
    marks = None if marked is None else marks_bytes(marked)
    if lines and lines[-1].sha256 == sha256 and (marked is None or stored_marks(folder, lines[-1].file) == marks):
        raise InputError(
            f"'{file.name}' is already version {lines[-1].version} of the line; change it before adding it again."
        )
    grid = song_map(folder, progress=progress).to_grid()
    placed = place(performance, grid, start=start)
    carried: tuple[str, ...] = ()
    if marked is None and lines and stored_marks(folder, lines[-1].file) is not None:
        marks = marks_bytes(carried_marks(placed_version(folder, lines[-1], grid).line.notes, placed.notes))
        carried = (f"The notes that were in version {lines[-1].version} keep the marks they had there.",)
    number = len(lines) + 1
    version = LineVersion(
        version=number,
        file=f"line/v{number}.mid",
        sha256=sha256,
        given_as=file.name,
        start=placed.start,
        guide_sha256=folder.job.guide.sha256,
    )
    folder.add_file(version.file, data)
    if marks is not None:
        folder.add_file(marks_file(version.file), marks)
    folder.save("line", f"line version {number} from '{file.name}'", lines=(*lines, version))
    return replace(current_line(folder), sentences=(placed.sentence, *performance.remarks, *carried))


def current_line(folder: JobFolder) -> PlacedLine:
    """The newest version of the line.

    Raises
    ------
    InputError
        When there is none yet.
    """
    if not folder.job.lines:
        raise InputError("This job has no line yet; add one with: obbligato line JOB FILE.mid")
    return placed_version(folder, folder.job.lines[-1], song_map(folder).to_grid())


def placed_version(folder: JobFolder, version: LineVersion, grid: Grid) -> PlacedLine:
    """A version of the line on a grid, with its marks.

    Raises
    ------
    InputError
        When what lies beside its MIDI file is no list of its marks.
    """
    played = place(read_midi(folder.path(version.file)), grid, start=version.start).notes
    notes = with_marks(folder, version.file, played)
    return PlacedLine(version, Line(notes, find_phrases(notes, grid)))


def instrument_of(folder: JobFolder) -> Instrument:
    """The job's instrument, with the player's own figures where they set any."""
    return own_figures(folder.root).applied_to(find_instrument(folder.job.instrument))
