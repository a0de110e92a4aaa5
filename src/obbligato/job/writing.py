"""The line of a job: versions given as MIDI, placed on the song's grid."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from obbligato.errors import InputError
from obbligato.job.mapping import song_map
from obbligato.job.model import LineVersion
from obbligato.job.store import JobFolder
from obbligato.music.instruments import Instrument, find_instrument
from obbligato.music.line import Line
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


def add_line(folder: JobFolder, file: Path, *, start: Start = "auto", progress: Progress = silent) -> PlacedLine:
    """Add a version of the line from a MIDI file in sounding pitch; the performance is kept as it is.

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
    if lines and lines[-1].sha256 == sha256:
        raise InputError(
            f"'{file.name}' is already version {lines[-1].version} of the line; change it before adding it again."
        )
    placed = place(performance, song_map(folder, progress=progress).to_grid(), start=start)
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
    folder.save("line", f"line version {number} from '{file.name}'", lines=(*lines, version))
    return replace(current_line(folder), sentences=(placed.sentence, *performance.remarks))


def current_line(folder: JobFolder) -> PlacedLine:
    """The newest version of the line.

    Raises
    ------
    InputError
        When there is none yet.
    """
    if not folder.job.lines:
        raise InputError("This job has no line yet; add one with: obbligato line JOB FILE.mid")
    version = folder.job.lines[-1]
    grid = song_map(folder).to_grid()
    notes = place(read_midi(folder.path(version.file)), grid, start=version.start).notes
    return PlacedLine(version, Line(notes, find_phrases(notes, grid)))


def instrument_of(folder: JobFolder) -> Instrument:
    """The job's instrument."""
    return find_instrument(folder.job.instrument)
