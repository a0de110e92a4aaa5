"""The comp: chosen takes joined on the guide's time.

Takes are moved to the guide's time by whole samples of the comp (at most half a sample, 10 µs, of rounding), so that
a take at the guide's rate is not touched at all: chosen throughout, it comes out bit for bit. Only another rate means
resampling. Between phrases the chosen take's own room is heard, never digital silence: where the take itself is
silent there, or not yet or no longer running, its room is laid.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import soxr

from obbligato.errors import InputError
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio, Samples
from obbligato.sound.shape import crossfade, gain
from obbligato.takes.place import Placement
from obbligato.takes.readings import Choice, Seam, TimedLine
from obbligato.takes.room_tone import room_tone, silent_runs
from obbligato.takes.seams import takes_in_order
from obbligato.takes.steps import Side, fade_span, sides, with_steps

_EDGE_FADE_S = 0.01
_ABRUPT_FADE_S = 0.002
_LONGEST_SILENCE_S = 0.005
_ROOM_AROUND_S = 1.0
_WORKERS = 2
"""Takes read and placed at a time; most of that is done outside the interpreter's lock."""


@dataclass(frozen=True, eq=False)
class Comp:
    """The joined takes and the seams in them."""

    audio: Audio
    seams: tuple[Seam, ...]


@dataclass(frozen=True, eq=False)
class _Parts:
    """What is kept of a take: its stretches of the comp by number, and its sides of the seams by number."""

    sounds: dict[int, Samples]
    sides: dict[int, Side]


def join(
    takes: Mapping[str, Callable[[], Audio]],
    placements: Mapping[str, Placement],
    choice: Sequence[Choice],
    seams: Sequence[Seam],
    *,
    n_samples: int,
    sr: int,
    line: TimedLine | None = None,
    gains_db: Mapping[str, float] | None = None,
    progress: Progress = silent,
) -> Comp:
    """Render a choice of takes.

    Parameters
    ----------
    takes
        By path, what reads it, for every take that was chosen; few of them are in memory at a time.
    placements
        By path, where the take is laid.
    seams
        As planned by `plan_seams` for this choice.
    n_samples, sr
        Length and rate of the comp: the guide's. The first sample is the guide's first.
    line
        From its first note to its last the room of the takes is heard where there would be digital silence, and for
        a second before and after, fading. Without a line there is no room where there is no take.
    gains_db
        By path, what a take is made louder by.

    Returns
    -------
    As many channels as the chosen take with the most; the seams with what was measured of the sound, given a line.

    Raises
    ------
    InputError
        When a chosen take is missing.
    """
    stretches = takes_in_order(choice, seams)
    names = list(dict.fromkeys(name for name, _, _ in stretches))
    missing = set(names) - takes.keys()
    if missing:
        raise InputError(f"The chosen take '{sorted(missing)[0]}' is not there; add it again or choose another.")
    spans = [fade_span(seam, sr=sr, n_samples=n_samples) for seam in seams]
    edges = np.maximum.accumulate([0, *(last for _, last in spans), n_samples]).tolist()

    def one(name: str) -> _Parts:
        take, db = takes[name](), (gains_db or {}).get(name, 0.0)
        y = _placed(gain(take, db) if db else take, placements[name], line, n_samples=n_samples, sr=sr)
        own = [k for k, (other, _, _) in enumerate(stretches) if other == name]
        beside = [k for k, seam in enumerate(seams) if name in {seam.from_take, seam.to_take}]
        found = sides(y, [seams[k] for k in beside], line, sr=sr)
        return _Parts(
            {k: np.array(y[:, edges[k] : edges[k + 1]]) for k in own}, dict(zip(beside, found, strict=True))
        )

    parts: dict[str, _Parts] = {}
    with ThreadPoolExecutor(max_workers=_WORKERS) as pool:
        for i, (name, found) in enumerate(zip(names, pool.map(one, names), strict=True)):
            parts[name] = found
            progress((i + 1) / (len(names) + 1), f"placed {name}")
    sounds = [parts[name].sounds[k] for k, (name, _, _) in enumerate(stretches)]
    beside = [(parts[seam.from_take].sides[k], parts[seam.to_take].sides[k]) for k, seam in enumerate(seams)]
    y = _laid_together(sounds, beside, spans, sr=sr)
    progress(1.0, "joined")
    if line is None:
        return Comp(Audio(y, sr), tuple(seams))
    return Comp(Audio(y, sr), tuple(with_steps(s, *pair, sr=sr) for s, pair in zip(seams, beside, strict=True)))


def _laid_together(
    sounds: Sequence[Samples], beside: Sequence[tuple[Side, Side]], spans: Sequence[tuple[int, int]], *, sr: int
) -> Samples:
    """Stretches of the comp one after another, with a crossfade over each seam's span in samples."""
    channels = max(len(y) for y in sounds)
    out = np.concatenate([np.broadcast_to(y, (channels, y.shape[1])) for y in sounds], axis=1)
    for pair, (first, last) in zip(beside, spans, strict=True):
        if last > first:
            fades = [Audio(np.broadcast_to(side.fade, (channels, last - first)), sr) for side in pair]
            out[:, first:last] = crossfade(*fades).y
    return out


def _placed(take: Audio, placement: Placement, line: TimedLine | None, *, n_samples: int, sr: int) -> Samples:
    """A take on the guide's time, its room laid where it is silent within the line."""
    y = on_guide_time(take, placement, n_samples=n_samples, sr=sr)
    if line is not None and line.notes:
        spans_s = (
            (line.notes[0].start_s, line.notes[-1].end_s),
            (placement.offset_s, placement.offset_s + take.duration_s),
        )
        music, file = ((round(a * sr), round(b * sr)) for a, b in spans_s)
        _lay_room(y, sr=sr, music=music, file=file)
    return y


def on_guide_time(take: Audio, placement: Placement, *, n_samples: int, sr: int) -> Samples:
    """A take on the guide's time at the comp's rate, shape (channels, n_samples); silent where the take is not.

    It is laid at the placement's offset all along; a drift of its clock is not followed. Where it begins or ends
    within the comp it is faded over 10 ms.
    """
    y = take.y
    if take.sr != sr:
        y = np.asarray(soxr.resample(y.T, take.sr, sr, quality="VHQ"), dtype=np.float32).T
    start = round(placement.offset_s * sr)
    first, last = max(0, start), min(n_samples, start + y.shape[1])
    out = np.zeros((y.shape[0], n_samples), dtype=np.float32)
    if last <= first:
        return out
    out[:, first:last] = y[:, first - start : last - start]
    fade = min(round(_EDGE_FADE_S * sr), last - first)
    ramp = np.linspace(0.0, 1.0, fade, dtype=np.float32)
    if start > 0:
        out[:, first : first + fade] *= ramp
    if last < n_samples:
        out[:, last - fade : last] *= ramp[::-1]
    return out


def _lay_room(y: Samples, *, sr: int, music: tuple[int, int], file: tuple[int, int]) -> None:
    """Lay the take's room where `y` is silent within the music, and fading for a second around it; `y` is changed.

    Where the take's file begins and ends (`file`), and was faded, the room comes in under the fade; at other silences
    it fills just those.
    """
    around, edge, abrupt = (round(s * sr) for s in (_ROOM_AROUND_S, _EDGE_FADE_S, _ABRUPT_FADE_S))
    runs = []
    for first, last in silent_runs(y, least=round(_LONGEST_SILENCE_S * sr)):
        begin, end = max(first, min(last, music[0]) - around), min(last, max(first, music[1]) + around)
        if end <= begin:
            continue
        fade_in, fade_out = (around if begin > first else abrupt), (around if end < last else abrupt)
        if begin == first and abs(first - file[1]) <= 2:
            begin, fade_in = max(0, begin - edge), edge
        if end == last and abs(last - file[0]) <= 2:
            end, fade_out = min(y.shape[1], end + edge), edge
        runs.append((begin, end, fade_in, fade_out))
    room = room_tone(y, max((end - begin for begin, end, _, _ in runs), default=0), sr=sr)
    for begin, end, fade_in, fade_out in runs:
        shape = np.ones(end - begin)
        _rise(shape, min(fade_in, (end - begin) // 2))
        _rise(shape[::-1], min(fade_out, (end - begin) // 2))
        y[:, begin:end] += (room[:, : end - begin] * shape).astype(np.float32)


def _rise(shape: np.ndarray[tuple[int, ...], np.dtype[np.float64]], n: int) -> None:
    """Let the first `n` gains rise to 1 so that power is held against a sound fading out in a straight line."""
    shape[:n] *= np.sqrt(1.0 - np.linspace(1.0, 0.0, n) ** 2)
