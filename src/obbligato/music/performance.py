"""A MIDI file as a performance of one line: what was played when, by the file's own tempo map.

A line has one note at a time. Where a player's fingers overlap for a moment, as in legato, the earlier note is cut
at the next one; anything more is a chord or a second voice and is refused with its place.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from obbligato.errors import InputError
from obbligato.units import seconds_to_clock

LONGEST_OVERLAP_S = 0.25
"""Fingers overlap by less than this in legato; a chord held for longer is meant (common practice, no source)."""
SHORTEST_GAP_S = 0.04
"""Notes starting closer together than this are one chord: keys of a chord go down within some 30 ms of each other
(W. Goebl: Melody lead in piano performance, J. Acoust. Soc. Am. 110, 2001, from memory)."""
_KEYSWITCH_SEMITONES = 24
_DEFAULT_TEMPO_US = 500_000
"""The tempo of a file that states none: 120 quarter notes a minute (Standard MIDI Files 1.0, from memory)."""


@dataclass(frozen=True)
class PlayedNote:
    """A note of a MIDI file: seconds from its start by its own tempo map, its ticks, sounding pitch, velocity."""

    start_s: float
    end_s: float
    start_tick: int
    end_tick: int
    pitch: int
    velocity: int


@dataclass(frozen=True)
class Performance:
    """One line as it was played into a MIDI file.

    Attributes
    ----------
    notes
        In order, one at a time.
    ticks_per_quarter
        What a quarter note of the file is worth.
    tempo_ticks, tempo_us
        Where each tempo begins and its microseconds per quarter note; the first begins at tick 0.
    remarks
        What was changed in reading, in sentences.
    """

    notes: tuple[PlayedNote, ...]
    ticks_per_quarter: int
    tempo_ticks: tuple[int, ...]
    tempo_us: tuple[int, ...]
    remarks: tuple[str, ...] = ()

    @property
    def quarters_per_minute(self) -> float:
        """Mean tempo of the file from its start to its last note."""
        last = self.notes[-1]
        return 60.0 * last.end_tick / self.ticks_per_quarter / last.end_s


@dataclass(frozen=True)
class _RawNote:
    start_tick: int
    end_tick: int
    pitch: int
    velocity: int
    track: int


def read_midi(path: Path) -> Performance:
    """Read one line from a Standard MIDI File of format 0 or 1; pitches are taken as sounding.

    Raises
    ------
    InputError
        When the file is missing or no MIDI file, counts in film frames, has no notes, or has several at a time.
    """
    midi = _open(path)
    tempo_ticks, tempo_us = _tempi(midi)
    raw = sorted(
        (note for index, track in enumerate(midi.tracks) for note in _raw_notes(track, index)),
        key=lambda n: (n.start_tick, n.pitch),
    )
    sounding = [note for note in raw if note.end_tick > note.start_tick]
    if not sounding:
        raise InputError(f"'{path.name}' has no notes; export the line itself as a MIDI file.")
    to_s = _tick_map(midi.ticks_per_beat, tempo_ticks, tempo_us)
    starts_s = to_s([n.start_tick for n in sounding])
    ends_s = to_s([n.end_tick for n in sounding])
    notes = [
        PlayedNote(float(start), float(end), n.start_tick, n.end_tick, n.pitch, n.velocity)
        for n, start, end in zip(sounding, starts_s, ends_s, strict=True)
    ]
    _require_single_line(path.name, notes, sounding, _bar_ticks(midi))
    single, n_cut = _cut_overlaps(notes)
    remarks = [
        text.format(n)
        for n, text in (
            (len(raw) - len(sounding), "Notes without any length were left out: {}."),
            (n_cut, "Notes that ran a little into the next one were ended there: {}."),
        )
        if n
    ]
    return Performance(single, midi.ticks_per_beat, tempo_ticks, tempo_us, tuple(remarks))


def _open(path: Path) -> Any:
    import mido

    if not path.is_file():
        raise InputError(f"There is no file '{path}'; give the path of a MIDI file.")
    try:
        if path.read_bytes()[:4] != b"MThd":
            raise InputError(f"'{path.name}' is not a MIDI file; export the line as a Standard MIDI File (.mid).")
        midi = mido.MidiFile(path, clip=True)
    except (OSError, EOFError, ValueError, IndexError, KeyError, TypeError, mido.KeySignatureError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            f"'{path.name}' cannot be read as MIDI, it is damaged or cut off; export it again."
        ) from error
    if midi.ticks_per_beat <= 0:
        raise InputError(f"'{path.name}' counts in film frames; export it with ticks per quarter note.")
    if midi.type not in (0, 1):
        raise InputError(f"'{path.name}' holds several unrelated sequences (format 2); export it as format 0 or 1.")
    return midi


def _timed(track: Iterable[Any]) -> Iterable[tuple[int, Any]]:
    tick = 0
    for message in track:
        tick += message.time
        yield tick, message


def _tempi(midi: Any) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Tempo changes of all tracks in order; of several at one tick the last counts."""
    tempi = {0: _DEFAULT_TEMPO_US}
    for track in midi.tracks:
        tempi.update({tick: m.tempo for tick, m in _timed(track) if m.type == "set_tempo" and m.tempo > 0})
    return tuple(sorted(tempi)), tuple(tempi[tick] for tick in sorted(tempi))


def _tick_map(ticks_per_quarter: int, tempo_ticks: tuple[int, ...], tempo_us: tuple[int, ...]) -> Any:
    """Function from ticks to seconds."""
    starts = np.asarray(tempo_ticks, dtype=np.float64)
    s_per_tick = np.asarray(tempo_us, dtype=np.float64) / 1e6 / ticks_per_quarter
    starts_s = np.concatenate(([0.0], np.cumsum(np.diff(starts) * s_per_tick[:-1])))

    def to_s(ticks: list[int]) -> Any:
        i = np.searchsorted(starts, ticks, side="right") - 1
        return starts_s[i] + (np.asarray(ticks) - starts[i]) * s_per_tick[i]

    return to_s


def _raw_notes(track: Iterable[Any], index: int) -> list[_RawNote]:
    """Notes of a track; a key struck again while down ends the note before, one never let go ends with the track."""
    found: list[_RawNote] = []
    down: dict[tuple[int, int], tuple[int, int]] = {}
    tick = 0

    def release(key: tuple[int, int]) -> None:
        start_velocity = down.pop(key, None)
        if start_velocity is not None:
            found.append(_RawNote(start_velocity[0], tick, key[1], start_velocity[1], index))

    for now, message in _timed(track):
        tick = now
        if message.type not in ("note_on", "note_off"):
            continue
        key = (message.channel, message.note)
        release(key)
        if message.type == "note_on" and message.velocity > 0:
            down[key] = (tick, message.velocity)
    for key in list(down):
        release(key)
    return found


def _bar_ticks(midi: Any) -> float | None:
    """Length of a bar of the file; None where its metre changes."""
    signatures = [m for track in midi.tracks for m in track if m.type == "time_signature"]
    if len({(m.numerator, m.denominator) for m in signatures}) > 1:
        return None
    quarters = 4.0 * signatures[0].numerator / signatures[0].denominator if signatures else 4.0
    return quarters * float(midi.ticks_per_beat)


def _require_single_line(name: str, notes: list[PlayedNote], raw: list[_RawNote], bar_ticks: float | None) -> None:
    clashes = [
        (a, b)
        for a, b in pairwise(notes)
        if a.end_s > b.start_s and (b.start_s - a.start_s < SHORTEST_GAP_S or a.end_s - b.start_s > LONGEST_OVERLAP_S)
    ]
    if not clashes:
        return
    first, second = clashes[0]
    place = seconds_to_clock(second.start_s)
    if bar_ticks:
        place += f", bar {int(second.start_tick // bar_ticks) + 1} of the file"
    median = float(np.median([n.pitch for n in notes]))
    places = "there" if len(clashes) == 1 else f"there and in {len(clashes) - 1} more places"
    if min(first.pitch, second.pitch) < median - _KEYSWITCH_SEMITONES:
        remedy = "The lower one looks like a keyswitch: take those notes out."
    elif len({n.track for n in raw}) > 1:
        remedy = "Notes lie in more than one track: export only the track of the line."
    else:
        remedy = "A line has one note at a time: take the chords or the second voice out."
    raise InputError(f"'{name}' has two notes at once at {place} ({places}). {remedy}")


def _cut_overlaps(notes: list[PlayedNote]) -> tuple[tuple[PlayedNote, ...], int]:
    """End every note where the next one starts, at the latest; also how many were cut."""
    cut = [
        replace(a, end_s=b.start_s, end_tick=b.start_tick) if a.end_tick > b.start_tick else a
        for a, b in pairwise(notes)
    ]
    n_cut = sum(a is not b for a, b in zip(cut, notes, strict=False))
    return (*cut, notes[-1]), n_cut
