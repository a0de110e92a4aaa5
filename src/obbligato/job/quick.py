"""Listening and assessing without a job: files in, findings out, nothing kept."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from obbligato.job.timing import timed_line
from obbligato.listen.pipeline import listen
from obbligato.listen.songmap import SongMap
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Line
from obbligato.music.midi import place, read_midi
from obbligato.music.phrases import find_phrases
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.files import read_audio
from obbligato.sound.intake import source_facts
from obbligato.takes.assess import assess
from obbligato.takes.readings import Assessment


def listen_to_file(file: Path, *, vocal: Path | None = None, progress: Progress = silent) -> SongMap:
    """Everything `listen` finds about a file."""
    progress(0.0, "reading the file")
    audio = read_audio(file)
    vocal_audio = read_audio(vocal) if vocal else None
    rest = part_of(progress, 0.1, 1.0)
    return listen(audio, lambda: source_facts(file, audio), vocal=vocal_audio, progress=rest)


def assess_files(
    takes: Sequence[Path], *, line: Path, guide: Path, instrument: str | None = None, progress: Progress = silent
) -> Assessment:
    """Read takes of a line against a guide and propose a choice."""
    player = find_instrument(instrument) if instrument is not None else None
    performance = read_midi(line)
    audio = [(str(path), partial(read_audio, path)) for path in takes]
    guide_audio = read_audio(guide)
    listening = part_of(progress, 0.0, 0.4)
    song = listen(guide_audio, lambda: source_facts(guide, guide_audio), progress=listening)
    grid = song.to_grid()
    notes = place(performance, grid).notes
    return assess(
        timed_line(Line(notes, find_phrases(notes, grid)), grid),
        audio,
        guide=guide_audio,
        a4_hz=song.tuning.a4_hz,
        grid=grid,
        instrument=player,
        chords=song.chords,
        progress=part_of(progress, 0.4, 1.0),
    )
