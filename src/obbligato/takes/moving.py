"""One phrase of a take moved in time as a whole or made louder or softer, when the player asks for it.

The cuts lie in the rests before and after it; where the phrase goes away from, the room of that rest is heard.
"""

from __future__ import annotations

import numpy as np

from obbligato.errors import InputError
from obbligato.sound.audio import Audio, Samples
from obbligato.sound.shape import crossfade
from obbligato.units import db_to_amplitude

_FADE_S = 0.01
_AWAY_S = 0.03
"""How far the cuts stay away from the notes."""

Rest = tuple[float, float]


def move_phrase(take: Audio, before: Rest, after: Rest, by_s: float) -> Audio:
    """A take with what lies between two rests moved later, or, with a negative `by_s`, earlier.

    Parameters
    ----------
    before, after
        The rests around the phrase, in the take's own seconds.

    Raises
    ------
    InputError
        When a rest is too short for the phrase to be moved into.
    """
    shift = round(by_s * take.sr)
    fade = round(_FADE_S * take.sr)
    (b0, b1), (a0, a1) = (_inner(rest, take) for rest in (before, after))
    giving, taking = ((b0, b1), (a0, a1)) if shift >= 0 else ((a0, a1), (b0, b1))
    if taking[1] - taking[0] < abs(shift) + 2 * fade or giving[1] - giving[0] < 2 * fade:
        raise InputError(
            f"The rests around the phrase are too short to move it by {1e3 * by_s:.0f} ms without touching a note; "
            "move it less."
        )
    start, end = b1, a0
    out = take.y.copy()
    if shift >= 0:
        _lay(out, _room(take.y, b0, b1, start - fade, start + shift + fade), start - fade, fade, take.sr)
        _lay(out, take.y[:, start : end + fade], start + shift, fade, take.sr)
    else:
        _lay(out, _room(take.y, a0, a1, end + shift - fade, end + fade), end + shift - fade, fade, take.sr)
        _lay(out, take.y[:, start - fade : end], start - fade + shift, fade, take.sr)
    return Audio(out, take.sr)


def phrase_gain(take: Audio, before: Rest, after: Rest, db: float) -> Audio:
    """A take with what lies between two rests made louder or softer; the level changes over 10 ms within them."""
    (_, b1), (a0, _) = (_inner(rest, take) for rest in (before, after))
    fade = round(_FADE_S * take.sr)
    at = np.arange(take.n_samples)
    share = np.clip(np.minimum(at - (b1 - fade), a0 + fade - at) / fade, 0.0, 1.0)
    return Audio((take.y * db_to_amplitude(db * share)).astype(np.float32), take.sr)


def _inner(rest: Rest, take: Audio) -> tuple[int, int]:
    """A rest in samples, some distance from the notes where it is long enough."""
    start_s, end_s = max(0.0, rest[0]), min(rest[1], take.duration_s)
    away_s = min(_AWAY_S, max(0.0, 0.25 * (end_s - start_s)))
    first, last = round((start_s + away_s) * take.sr), round((end_s - away_s) * take.sr)
    return first, max(first, last)


def _room(y: Samples, first: int, last: int, start: int, end: int) -> Samples:
    """The room of a rest, to and fro as often as needed, to be heard from `start` to `end`."""
    length = last - first
    n = np.arange(start, end) - first
    there_and_back = np.abs((n + length) % (2 * length) - length)
    return np.ascontiguousarray(y[:, first + np.minimum(there_and_back, length - 1)])


def _lay(out: Samples, piece: Samples, at: int, fade: int, sr: int) -> None:
    """Put a piece over what `out` holds from sample `at` on, with a fade at either end; `out` is changed."""
    first, last = max(0, at), min(out.shape[1], at + piece.shape[1])
    piece = piece[:, first - at : last - at]
    if piece.shape[1] < 2 * fade:
        return
    old = out[:, first:last].copy()
    out[:, first:last] = piece
    if first > 0:
        out[:, first : first + fade] = crossfade(Audio(old[:, :fade], sr), Audio(piece[:, :fade], sr)).y
    if last < out.shape[1]:
        out[:, last - fade : last] = crossfade(Audio(piece[:, -fade:], sr), Audio(old[:, -fade:], sr)).y
