"""The song map of a job: what was heard, what the player put right, and the two applied together."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from fractions import Fraction
from typing import Any

from pydantic import TypeAdapter

from obbligato.errors import InputError, NoBeatError
from obbligato.job.intake import guide_audio, vocal_audio
from obbligato.job.model import Corrections, KeyCorrection
from obbligato.job.store import JobFolder, fingerprint
from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Grid, Meter
from obbligato.music.harmony import parse_key
from obbligato.music.spans import KeySpan
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.atomic import write_bytes_at_once

FINDINGS = "guide/findings.json"
CORRECTIONS = "guide/corrections.json"
LISTENER = 1
"""Grows whenever listening finds something else in the same file."""

_SONG_MAP = TypeAdapter(SongMap)


def song_map_to_json(song: SongMap) -> dict[str, Any]:
    """The map as plain JSON values, in the shape of `listen --json`."""
    result: dict[str, Any] = _SONG_MAP.dump_python(song, mode="json")
    return result


def corrections(folder: JobFolder) -> Corrections:
    """What the player put right so far."""
    path = folder.path(CORRECTIONS)
    return Corrections.model_validate_json(path.read_bytes()) if path.exists() else Corrections()


def map_key(folder: JobFolder) -> str:
    """Fingerprint of everything the song map depends on."""
    return fingerprint(folder.job.guide.sha256, LISTENER, corrections(folder).model_dump_json())


def findings(folder: JobFolder, *, fixes: Corrections | None = None, progress: Progress = silent) -> SongMap:
    """What listening found, without corrections; listened to once and kept in the job folder.

    Where no beat can be heard, the tempo, bar 1 and metre of `fixes` (those in force, if left out) stand in for it.

    Raises
    ------
    NoBeatError
        When no beat can be heard and no tempo was given by hand.
    """
    path = folder.path(FINDINGS)
    stamp = {"guide_sha256": folder.job.guide.sha256, "listener": LISTENER}
    if path.exists():
        kept = json.loads(path.read_bytes())
        if {name: kept.get(name) for name in stamp} == stamp:
            return _SONG_MAP.validate_python(kept["findings"])
    from obbligato.listen.pipeline import listen
    from obbligato.sound.intake import source_facts

    folder.require_writable()
    progress(0.0, "reading the guide")
    audio = guide_audio(folder)
    received = folder.path(folder.job.guide.received)
    facts = replace(source_facts(received, audio), path=folder.job.guide.received)
    vocal, rest = vocal_audio(folder), part_of(progress, 0.1, 1.0)
    try:
        song = listen(audio, facts, vocal=vocal, progress=rest)
    except NoBeatError:
        fixes = corrections(folder) if fixes is None else fixes
        if fixes.bpm is None:
            raise
        grid = Grid.steady(fixes.bpm, fixes.bar_1_s or 0.0, Meter.from_signature(fixes.meter or "4/4"))
        song = listen(audio, facts, vocal=vocal, grid=grid, progress=rest)
    write_bytes_at_once(
        path, json.dumps({**stamp, "findings": song_map_to_json(song)}, indent=1).encode(), overwrite=True
    )
    folder.note("map", "listened to the guide")
    return song


def song_map(folder: JobFolder, *, progress: Progress = silent) -> SongMap:
    """The findings with the player's corrections applied."""
    song = findings(folder, progress=progress)
    fixes = corrections(folder)
    if fixes == Corrections():
        return song
    key = f"map-{map_key(folder)}.json"
    kept = folder.cached(key)
    if kept is not None:
        return _SONG_MAP.validate_json(kept)
    song = _apply(folder, song, fixes, progress)
    folder.keep(key, json.dumps(song_map_to_json(song)).encode())
    return song


def correct(
    folder: JobFolder,
    *,
    bpm: float | None = None,
    double: bool = False,
    halve: bool = False,
    shift_beats: float | None = None,
    bar_1: str | None = None,
    meter: str | None = None,
    keys: tuple[str, ...] = (),
    undo_all: bool = False,
    progress: Progress = silent,
) -> Corrections:
    """Add corrections by hand to those made before; each is checked before any is kept."""
    if double and halve:
        raise InputError("--double and --halve undo each other; give one of them.")
    before = corrections(folder)
    fixes = Corrections() if undo_all else before
    changes: dict[str, Any] = {}
    if bpm is not None:
        Grid.steady(bpm, 0.0, Meter())
        changes["bpm"] = bpm
    if double or halve:
        factor = Fraction(fixes.counted_times or 1) * (Fraction(2) if double else Fraction(1, 2))
        changes["counted_times"] = str(factor) if factor != 1 else None
        if fixes.bpm is not None and bpm is None:
            changes["bpm"] = fixes.bpm * (2.0 if double else 0.5)
    if meter is not None:
        changes["meter"] = str(Meter.from_signature(meter))
    if bar_1 is not None:
        changes |= {"bar_1_s": parse_clock(bar_1), "shift_beats": 0.0}
    if shift_beats is not None:
        changes["shift_beats"] = changes.get("shift_beats", fixes.shift_beats) + shift_beats
    if keys:
        changes["keys"] = tuple(_parse_key_correction(text) for text in keys)
    fixes = Corrections.model_validate({**fixes.model_dump(), **changes})
    if fixes != before:
        folder.require_writable()
        _require_in_the_song(findings(folder, fixes=fixes, progress=progress), fixes)
        write_bytes_at_once(folder.path(CORRECTIONS), fixes.model_dump_json(indent=2).encode(), overwrite=True)
        folder.note(
            "map", "corrections undone" if undo_all and not changes else f"corrected by hand: {in_words(fixes)}"
        )
    return fixes


def parse_clock(text: str) -> float:
    """Seconds from `4.25`, `0:04.25` or `1:02:03.5`; a decimal comma is understood.

    >>> parse_clock("1:07,5")
    67.5
    """
    if not re.fullmatch(r"(\d+:){0,2}\d+([.,]\d+)?", text.strip()):
        raise InputError(f"'{text}' is not a time; write seconds (4.25) or a clock time (0:04.25).")
    seconds = 0.0
    parts = text.strip().replace(",", ".").split(":")
    if any(float(part) >= 60.0 for part in parts[1:]):
        raise InputError(f"'{text}' is not a time; after a colon stand minutes or seconds below 60 (0:04.25).")
    for part in parts:
        seconds = seconds * 60.0 + float(part)
    return seconds


def in_words(fixes: Corrections) -> str:
    """The corrections in force, one after the other."""
    stated = fixes.model_dump(exclude_defaults=True, mode="json")
    return ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in stated.items())


def _require_in_the_song(song: SongMap, fixes: Corrections) -> None:
    """Refuse corrections that point outside the song: nothing could be drawn or delivered with them."""
    end_s, grid = song.source.duration_s, _corrected_grid(song, fixes)
    if not -end_s < grid.bar_1_s < end_s:
        raise InputError(
            f"Bar 1 would begin at {grid.bar_1_s:.1f} s, but the guide lasts {end_s:.1f} s; give a place inside it."
        )
    for key in fixes.keys:
        if grid.bar_to_sec(key.from_bar) >= end_s:
            last = grid.position_at(end_s).bar
            raise InputError(f"There is no bar {key.from_bar} to put a key at; the song ends in bar {last}.")


def _corrected_grid(song: SongMap, fixes: Corrections) -> Grid:
    grid = song.to_grid()
    if fixes.counted_times:
        grid = grid.counted_times(Fraction(fixes.counted_times))
    if fixes.bpm is not None:
        grid = Grid.steady(fixes.bpm, grid.bar_1_s, grid.meter)
    if fixes.meter:
        grid = grid.with_meter(Meter.from_signature(fixes.meter))
    if fixes.bar_1_s is not None:
        grid = grid.with_bar_1_at(fixes.bar_1_s)
    return grid.moved(fixes.shift_beats)


def _apply(folder: JobFolder, song: SongMap, fixes: Corrections, progress: Progress) -> SongMap:
    grid = _corrected_grid(song, fixes)
    if grid != song.to_grid():
        from obbligato.listen.pipeline import relisten_with_grid

        song = relisten_with_grid(guide_audio(folder), song, grid, progress=progress)
    if fixes.keys:
        song = replace(song, keys=_corrected_keys(song, grid, fixes.keys))
    return song


def _corrected_keys(song: SongMap, grid: Grid, fixes: tuple[KeyCorrection, ...]) -> tuple[KeySpan, ...]:
    """The stated keys from their bars on; before the first of them, what was heard."""
    end_s = song.source.duration_s
    ordered = sorted(fixes, key=lambda fix: fix.from_bar)
    starts = [max(0.0, grid.bar_to_sec(fix.from_bar)) if fix.from_bar > 1 else 0.0 for fix in ordered]
    kept = [
        KeySpan(key.start_s, min(key.end_s, starts[0]), key.tonic, key.mode, key.confidence)
        for key in song.keys
        if key.start_s < starts[0]
    ]
    stated = [
        KeySpan(start, end, fix.tonic, fix.mode, 1.0)
        for fix, start, end in zip(ordered, starts, [*starts[1:], end_s], strict=True)
        if end > start
    ]
    return (*kept, *stated)


def _parse_key_correction(text: str) -> KeyCorrection:
    """`Bb major` for the whole song, `57=Db major` from bar 57 on."""
    bar, _, name = text.rpartition("=")
    if bar and not re.fullmatch(r"-?\d+", bar.strip()):
        raise InputError(f"'{text}': write a key as 'Bb major', or from a bar on as '57=Db major'.")
    tonic, mode = parse_key(name)
    return KeyCorrection(from_bar=int(bar) if bar else 1, tonic=tonic, mode=mode)
