"""Listening to a guide from end to end, and again where the player put the grid right."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from obbligato.errors import InputError
from obbligato.listen.beats import GridFindings, find_grid
from obbligato.listen.chords import find_chords
from obbligato.listen.chroma import BeatChroma, beat_chroma
from obbligato.listen.keys import find_keys
from obbligato.listen.openings import find_openings
from obbligato.listen.sections import find_sections
from obbligato.listen.songmap import (
    GridFinding,
    MeterFinding,
    SectionTuning,
    SongMap,
    Tempo,
    TempoChange,
    TempoStep,
    Tuning,
)
from obbligato.listen.tuning import Peaks, song_tuning, sustained_peaks, tuning_of
from obbligato.listen.voice import find_voice
from obbligato.music.grid import Grid
from obbligato.music.harmony import key_prefers_flats
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.sound.facts import SourceFacts
from obbligato.units import A4_HZ, amplitude_to_db

_SILENT_DBFS = -80.0


def listen(
    audio: Audio,
    measure: Callable[[], SourceFacts],
    *,
    vocal: Audio | None = None,
    grid: Grid | None = None,
    so_far: Callable[[SongMap], None] = lambda song: None,
    progress: Progress = silent,
) -> SongMap:
    """Everything that can be found out about a guide.

    Parameters
    ----------
    audio
        The guide.
    measure
        Gives what is known of its file; called on another thread, which then listens for tuning and singer, while
        this one finds beats and harmony.
    vocal
        The vocal alone, starting with the guide, if the client sent it.
    grid
        A grid to take instead of listening for one, for a song without a beat.
    so_far
        Called once with what is known when the beats are: the map with tempo, metre and grid, the rest still empty.

    Raises
    ------
    InputError
        When there is nothing to hear.
    NoBeatError
        When no beat can be heard and no `grid` is given.
    """
    if audio.n_samples == 0 or float(amplitude_to_db(abs(audio.y).max())) < _SILENT_DBFS:
        raise InputError(f"There is no sound in {measure().path}; ask the client for the file again.")
    with ThreadPoolExecutor(max_workers=1) as pool:
        measured, sustained = pool.submit(measure), pool.submit(sustained_peaks, audio)
        sung = pool.submit(find_voice, audio, vocal=vocal)
        try:
            listened = part_of(progress, 0.0, 0.4)
            found = find_grid(audio, progress=listened) if grid is None else _given(grid, audio.duration_s)
            song = _without_form(found, measured.result())
            so_far(song)
            peaks = sustained.result()
            song = replace(song, tuning=song_tuning(peaks))
            song, chroma = _with_harmony(audio, song, found.grid, part_of(progress, 0.4, 0.6))
            progress(0.6, "listening for the singer")
            song = replace(song, voice=sung.result())
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
    song = _with_form(audio, song, found.grid, chroma, part_of(progress, 0.9, 1.0))
    return _with_section_tuning(song, peaks)


def relisten_with_grid(audio: Audio, song_map: SongMap, grid: Grid, *, progress: Progress = silent) -> SongMap:
    """The map with a grid set by hand and everything that hangs on the grid found again.

    The song's tuning and the voice are kept; tempo, metre and grid become those of `grid`, with full confidence.
    """
    straight = len(grid.anchor_s) == 2
    steady = straight or (song_map.tempo.steady and bool(song_map.tempo.steps))
    counted_times = grid.mean_bpm / song_map.to_grid().mean_bpm
    song = replace(
        song_map,
        tempo=replace(
            song_map.tempo,
            bpm=grid.mean_bpm if straight else song_map.tempo.bpm * counted_times,
            steady=steady,
            confidence=1.0,
            alternatives=(),
            changes=() if straight else _counted(song_map.tempo.changes, counted_times),
            steps=() if straight else tuple(TempoStep(s.at_s, s.beats * counted_times) for s in song_map.tempo.steps),
        ),
        meter=MeterFinding(grid.meter.beats_per_bar, grid.meter.beat_unit, 1.0),
        grid=_grid_finding(grid, audio.duration_s),
    )
    song, chroma = _with_harmony(audio, song, grid, part_of(progress, 0.0, 0.8))
    song = _with_form(audio, song, grid, chroma, part_of(progress, 0.8, 1.0))
    return _with_section_tuning(song, sustained_peaks(audio))


def _given(grid: Grid, duration_s: float) -> GridFindings:
    """A grid that nobody heard, with no confidence in it."""
    steady = len(grid.anchor_s) == 2
    tempo = Tempo(grid.mean_bpm, steady, 0.0, scatter_ms=0.0, slope_ppm=0.0, alternatives=(), changes=())
    meter = MeterFinding(grid.meter.beats_per_bar, grid.meter.beat_unit, 0.0)
    return GridFindings(tempo, meter, None, grid, _grid_finding(grid, duration_s))


def _counted(changes: tuple[TempoChange, ...], times: float) -> tuple[TempoChange, ...]:
    """The course of a wandering tempo counted so many times as fast."""
    return tuple(TempoChange(change.start_s, change.bpm * times) for change in changes)


def _grid_finding(grid: Grid, duration_s: float) -> GridFinding:
    beats = grid.beats_in(0.0, duration_s)
    downbeats = beats[np.round(beats) % grid.meter.beats_per_bar == 0]
    return GridFinding(
        grid.bar_1_s, tuple(grid.beat_to_sec(beats).tolist()), tuple(grid.beat_to_sec(downbeats).tolist())
    )


def _without_form(found: GridFindings, facts: SourceFacts) -> SongMap:
    """The map as far as it is known with the beats."""
    return SongMap(
        source=facts,
        tempo=found.tempo,
        meter=found.meter,
        count_in=found.count_in,
        grid=found.grid_finding,
        tuning=Tuning(A4_HZ, 0.0),
        keys=(),
        chords=(),
        sections=(),
        voice=(),
        openings=(),
    )


def _with_harmony(audio: Audio, song: SongMap, grid: Grid, progress: Progress) -> tuple[SongMap, BeatChroma]:
    """Keys and chords on a grid, and what they were heard from."""
    progress(0.0, "finding the harmony")
    chroma = beat_chroma(audio, grid, a4_hz=song.tuning.a4_hz)
    keys = find_keys(chroma, grid, end_s=audio.duration_s)
    flats = key_prefers_flats(keys[0].tonic, keys[0].mode)
    chords = find_chords(chroma, grid, prefer_flats=flats, keys=keys)
    return replace(song, keys=keys, chords=chords), chroma


def _with_form(audio: Audio, song: SongMap, grid: Grid, chroma: BeatChroma, progress: Progress) -> SongMap:
    """Sections and openings on a grid."""
    progress(0.0, "finding the form")
    sections = find_sections(chroma, grid, keys=song.keys, voice=song.voice)
    openings = find_openings(audio, song.voice, grid)
    progress(1.0, "listened")
    return replace(song, sections=sections, openings=openings)


def _with_section_tuning(song: SongMap, peaks: Peaks) -> SongMap:
    """The pitch of each section of the form that has one of its own."""
    own = [(section, tuning_of(peaks, first_s=section.start_s, end_s=section.end_s)) for section in song.sections]
    told = tuple(SectionTuning(s.start_s, s.end_s, tuned.a4_hz, tuned.cents) for s, tuned in own if tuned)
    return replace(song, tuning=replace(song.tuning, sections=told))
