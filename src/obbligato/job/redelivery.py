"""Sending only what changed: which files say something else than those the client has, and what it is, by bar."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

from obbligato.errors import InputError
from obbligato.job.packing import PackPlan, PlannedFile
from obbligato.job.store import JobFolder
from obbligato.job.writing import instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.music.difference import line_difference
from obbligato.music.grid import Grid
from obbligato.music.midi import place, read_midi
from obbligato.sound.audio import Audio
from obbligato.sound.carried import Carried, carried
from obbligato.sound.files import read_audio
from obbligato.sound.wav import wav_bit_depth


class _Before(Protocol):
    @property
    def version(self) -> int: ...
    @property
    def guide_sha256(self) -> str: ...
    @property
    def line_version(self) -> int | None: ...


@dataclass(frozen=True)
class Redelivery:
    """What is sent anew, in sentences, and what stays: (key, name, digest) of the files that the client has."""

    since: int
    keys: frozenset[str]
    sentences: tuple[str, ...]
    kept: tuple[tuple[str, str, str], ...]


def redelivery_of(
    folder: JobFolder, plan: PackPlan, current: Mapping[str, tuple[str, str]], before: _Before, song: SongMap
) -> Redelivery:
    """Compare a plan with the newest files that the client has.

    Parameters
    ----------
    current
        By key, the name and digest of each.

    Raises
    ------
    InputError
        When nothing changed.
    """
    new = [file for file in plan.files if current.get(file.key, ("", ""))[1] != file.digest]
    planned = {file.key for file in plan.files}
    gone = [name for key, (name, _) in current.items() if key not in planned]
    if not new and not gone:
        raise InputError(f"Nothing changed since delivery {before.version}; there is nothing to send anew.")
    sentences = []
    if before.guide_sha256 != folder.job.guide.sha256:
        sentences.append(f"This is for the guide '{folder.job.guide.given_as}', which replaces the one before.")
    elif before.line_version and folder.job.lines and before.line_version != folder.job.lines[-1].version:
        sentences += _line_changes(folder, before.line_version, song)
    for file in new:
        sentences.append(_sentence(folder, file, current.get(file.key), plan))
    sentences += [f"{name} is no longer part of the delivery." for name in gone]
    changed = {file.key for file in new}
    kept = tuple((key, *current[key]) for key in (file.key for file in plan.files) if key not in changed)
    return Redelivery(before.version, frozenset(changed), tuple(sentences), kept)


def bar_words(found: tuple[Carried, ...], bars: range, grid: Grid) -> str:
    """What of a sound is new, in bars, and what is as before, there or elsewhere; silent bars go with either."""
    new = [bar for bar, one in zip(bars, found, strict=True) if one.kind == "new"]
    said = [f"{_bars(new)} new"] if new else []
    for later_s in sorted({one.later_s for one in found if one.kind == "same" and one.later_s}):
        moved = [b for b, one in zip(bars, found, strict=True) if one.kind == "same" and one.later_s == later_s]
        beats = float(grid.sec_to_beat(grid.bar_to_sec(moved[0]))) - float(
            grid.sec_to_beat(grid.bar_to_sec(moved[0]) - later_s)
        )
        by_bars = beats / grid.meter.beats_per_bar
        whole = f", {abs(round(by_bars))} bars" if abs(by_bars - round(by_bars)) < 0.02 and round(by_bars) else ""
        way = "later" if later_s > 0 else "earlier"
        said.append(f"{_bars(moved)} as before, {abs(later_s):.3f} s{whole} {way}")
    if any(one.kind == "same" and not one.later_s for one in found):
        said.append("all else as before, in its place" if said else "every bar as before")
    return "; ".join(said) or "silent"


def _line_changes(folder: JobFolder, version: int, song: SongMap) -> list[str]:
    grid = song.to_grid()
    lines = {line.version: line for line in folder.job.lines}
    if version not in lines:
        return []
    old, new = (
        place(read_midi(folder.path(line.file)), grid, start=line.start).notes
        for line in (lines[version], folder.job.lines[-1])
    )
    return [change.sentence for change in line_difference(old, new, grid, instrument_of(folder))]


def _sentence(folder: JobFolder, file: PlannedFile, old: tuple[str, str] | None, plan: PackPlan) -> str:
    if old is None:
        return f"{file.number} is new: {file.role}."
    said = f"{file.number} replaces {old[0]}"
    path = next(folder.path("delivery").glob(f"*/{old[0]}"), None)
    if file.kind != "stem" or file.audio is None or path is None:
        return f"{said}."
    before = read_audio(path)
    if before.sr != file.audio.sr:
        return f"{said}: the whole file, at another rate."
    depth = wav_bit_depth(path)
    said += f", {file.bit_depth} bits in place of {depth}" if depth != file.bit_depth else ""
    bars, edges_s = bar_edges(plan.grid, file.audio)
    return f"{said}: {bar_words(carried(file.audio, before, edges_s), bars, plan.grid)}."


def bar_edges(grid: Grid, audio: Audio) -> tuple[range, list[float]]:
    """The bars of a sound and their edges in seconds; what lies before the first or after the last goes with it."""
    bars = grid.bars_in(0.0, audio.duration_s)
    starts_s = [grid.bar_to_sec(bar) for bar in bars]
    return bars, [0.0, *starts_s[1:], audio.duration_s]


def _bars(numbers: list[int]) -> str:
    """`bar 5`, `bars 5 to 8 and 12`."""
    starts = [n for i, n in enumerate(numbers) if i == 0 or numbers[i - 1] != n - 1]
    ends = [a for a, b in pairwise([*numbers, numbers[-1] + 2]) if b != a + 1]
    runs = [str(a) if a == b else f"{a} to {b}" for a, b in zip(starts, ends, strict=True)]
    text = runs[0] if len(runs) == 1 else f"{', '.join(runs[:-1])} and {runs[-1]}"
    return f"{'bar' if len(numbers) == 1 else 'bars'} {text}"
