"""Takes of a free solo, with no line written: read and chosen from, in a job and without one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from obbligato.errors import InputError
from obbligato.job.intake import guide_audio
from obbligato.job.keys import line_key
from obbligato.job.mending import mended_audio
from obbligato.job.store import JobFolder, fingerprint
from obbligato.job.writing import instrument_of
from obbligato.listen.pipeline import listen
from obbligato.listen.songmap import SongMap
from obbligato.music.instruments import Instrument, find_instrument
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio
from obbligato.sound.intake import source_facts
from obbligato.takes.free import assess_free, read_free
from obbligato.takes.free_choice import FreeReadings
from obbligato.takes.free_notes import USUAL_RANGE, FreeTake, hear_free
from obbligato.takes.readings import Assessment

SOLO_READER = 1
"""Grows whenever listening to the same takes finds something else, or is written down otherwise."""
_READINGS = TypeAdapter(FreeReadings)
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


def read_solo(folder: JobFolder, song: SongMap, *, progress: Progress = silent) -> FreeReadings:
    """A job's takes in use, for which there is no line, read beside one another; listened to once.

    Raises
    ------
    InputError
        When no note is heard in any take.
    """
    known = solo_so_far(folder)
    if known is not None:
        return known
    takes = folder.job.takes_in_use
    heard = _hear(
        [(take.file, partial(mended_audio, folder, take)) for take in takes],
        song,
        guide_audio(folder),
        player=instrument_of(folder),
        starts_s={take.file: take.starts_at_s for take in takes if take.starts_at_s is not None},
        progress=progress,
    )
    read = read_free(heard, grid=song.to_grid(), chords=song.chords)
    folder.keep(solo_key(folder), _READINGS.dump_json(read))
    return read


def solo_so_far(folder: JobFolder) -> FreeReadings | None:
    """The takes in use as read before, with no listening; None where they were not read together yet."""
    data = folder.cached(solo_key(folder))
    try:
        return None if data is None else _READINGS.validate_json(data)
    except ValidationError:
        return None


def solo_key(folder: JobFolder) -> str:
    """Under which key the takes in use are kept as read: it changes with them, their mends and the song's map."""
    takes = [
        (take.file, take.sha256, take.starts_at_s, *folder.job.mended.get(take.number, ()))
        for take in folder.job.takes_in_use
    ]
    return f"solo-{fingerprint(SOLO_READER, line_key(folder), takes)}.json"


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
