"""The layers of a job beside one another: takes read each against the version of the line it was played to."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from obbligato.errors import InputError
from obbligato.job.intake import guide_audio
from obbligato.job.mapping import song_map
from obbligato.job.mending import mended_audio
from obbligato.job.model import TakeRef
from obbligato.job.reading import heard_before
from obbligato.job.store import JobFolder
from obbligato.job.timing import timed_line
from obbligato.job.writing import instrument_of, placed_version
from obbligato.listen.songmap import SongMap
from obbligato.progress import Progress, silent
from obbligato.takes.layers import Layer, Layers, compare_layers
from obbligato.takes.read import hear_takes, judge_takes
from obbligato.takes.readings import TimedLine


def layers_of(folder: JobFolder, numbers: Sequence[int] = (), *, progress: Progress = silent) -> Layers:
    """Compare takes as layers: those named, or all in use.

    Raises
    ------
    InputError
        When there is no line, a take is not there or does not hold its line, or fewer than two are given.
    """
    if not folder.job.lines:
        raise InputError("Layers are compared by the line they play; add it first: obbligato line JOB FILE.mid")
    known = {take.number: take for take in folder.job.takes}
    missing = [number for number in numbers if number not in known]
    if missing:
        raise InputError(f"There is no take {missing[0]}; see them with: obbligato takes JOB")
    takes = [known[n] for n in dict.fromkeys(numbers)] if numbers else list(folder.job.takes_in_use)
    if len(takes) < 2:
        raise InputError("Layers are compared with one another; the job needs two takes or more for that.")
    song = song_map(folder)
    newest = folder.job.lines[-1].version
    layers: dict[int, Layer] = {}
    for version in sorted({take.line_version or newest for take in takes}):
        of_version = [take for take in takes if (take.line_version or newest) == version]
        layers |= _read(folder, song, version, of_version, progress)
    return compare_layers([layers[take.number] for take in takes], grid=song.to_grid())


def _read(
    folder: JobFolder, song: SongMap, version: int, takes: Sequence[TakeRef], progress: Progress
) -> dict[int, Layer]:
    """Takes of one version of the line as layers, by number."""
    line, grid = _line(folder, song, version), song.to_grid()
    heard = heard_before(folder) if version == folder.job.lines[-1].version else {}
    new = [take for take in takes if take.number not in heard]
    found = hear_takes(
        line,
        [(take.file, partial(mended_audio, folder, take)) for take in new],
        guide=guide_audio(folder) if new else None,
        a4_hz=song.tuning.a4_hz,
        grid=grid,
        starts_s={take.file: take.starts_at_s for take in new if take.starts_at_s is not None},
        progress=progress,
    )
    heard = {**heard, **dict(zip((take.number for take in new), found, strict=True))}
    read = judge_takes(line, [heard[take.number] for take in takes], grid=grid, instrument=instrument_of(folder))
    return {
        take.number: Layer(f"take {take.number}", line, one.reading, one.measures.sound.click_dbfs)
        for take, one in zip(takes, read, strict=True)
    }


def _line(folder: JobFolder, song: SongMap, version: int) -> TimedLine:
    """A version of the line on the guide's time."""
    known = next(line for line in folder.job.lines if line.version == version)
    grid = song.to_grid()
    return timed_line(placed_version(folder, known, grid).line, grid)
