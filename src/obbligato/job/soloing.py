"""Takes of a free solo, with no line written: read and chosen from, in a job and without one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

from obbligato.errors import InputError
from obbligato.job.intake import guide_audio
from obbligato.job.mending import mended_audio
from obbligato.job.store import JobFolder
from obbligato.job.writing import instrument_of
from obbligato.listen.pipeline import listen
from obbligato.listen.songmap import SongMap
from obbligato.music.instruments import Instrument, find_instrument
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio
from obbligato.sound.intake import source_facts
from obbligato.takes.free import assess_free
from obbligato.takes.free_notes import USUAL_RANGE, FreeTake, hear_free
from obbligato.takes.readings import Assessment

_WORKERS = 2
"""Takes heard at a time; most of the work is done outside the interpreter's lock."""


def assess_solo_files(
    takes: Sequence[Path], *, guide: Path, instrument: str | None = None, progress: Progress = silent
) -> Assessment:
    """Read takes of a free solo against a guide and propose a choice."""
    player = find_instrument(instrument) if instrument is not None else None
    guide_sound = read_audio(guide)
    song = listen(guide_sound, lambda: source_facts(guide, guide_sound), progress=part_of(progress, 0.0, 0.4))
    named = [(str(path), partial(read_audio, path)) for path in takes]
    heard = _hear(named, song, guide_sound, player=player, progress=part_of(progress, 0.4, 1.0))
    return assess_free(heard, grid=song.to_grid(), chords=song.chords)


def assess_solo(folder: JobFolder, song: SongMap, *, progress: Progress = silent) -> Assessment:
    """Read a job's takes in use, for which there is no line, and propose a choice among whole phrases."""
    takes = folder.job.takes_in_use
    heard = _hear(
        [(take.file, partial(mended_audio, folder, take)) for take in takes],
        song,
        guide_audio(folder),
        player=instrument_of(folder),
        starts_s={take.file: take.starts_at_s for take in takes if take.starts_at_s is not None},
        progress=progress,
    )
    return assess_free(heard, grid=song.to_grid(), chords=song.chords)


def _hear(
    takes: Sequence[tuple[str, Callable[[], Audio]]],
    song: SongMap,
    guide: Audio,
    *,
    player: Instrument | None,
    starts_s: Mapping[str, float] | None = None,
    progress: Progress,
) -> list[FreeTake]:
    """Takes as heard, each by itself; the message of a refusal begins with the take's name."""
    if len({name for name, _ in takes}) < len(takes):
        raise InputError("Two takes have the same name; give each file once.")

    def one(named: tuple[str, Callable[[], Audio]]) -> FreeTake:
        name, read = named
        try:
            return hear_free(
                name,
                read(),
                a4_hz=song.tuning.a4_hz,
                guide=guide,
                start_s=(starts_s or {}).get(name),
                range_midi=_range(player),
            )
        except InputError as error:
            raise InputError(f"'{name}': {error}") from None

    heard = []
    with ThreadPoolExecutor(max_workers=_WORKERS) as pool:
        for i, take in enumerate(pool.map(one, takes)):
            heard.append(take)
            progress((i + 1) / len(takes), f"read {take.path}")
    return heard


def _range(player: Instrument | None) -> tuple[int, int]:
    """Sounding pitches to listen for, within those that the usual tracker knows where the instrument's own are."""
    if player is None:
        return USUAL_RANGE
    low, high = player.to_sounding(player.low), player.to_sounding(player.high)
    return (low, high) if low < USUAL_RANGE[0] else (low, min(high, USUAL_RANGE[1]))
