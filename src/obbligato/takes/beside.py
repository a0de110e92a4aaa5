"""Takes placed beside one another: what one take says of another's place.

A take without bleed that starts anywhere leaves open whether its notes are late or the take lies late. A take of the
same player whose place is sure says how late that player plays this line, note by note, so that the two can be told
apart to what the player changes from take to take.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from obbligato.takes.clock import robust_mean
from obbligato.takes.measure import TakeMeasures
from obbligato.takes.place import HABIT_MS, Placement
from obbligato.takes.readings import TimedLine

CHANGE_MS = 2.0
"""How much a player's mean lateness changes from one take to the next (own, from the spread between phrases)."""
_ENOUGH_NOTES = 8
_SURE_MS = 1.5


def settle_beside(takes: Sequence[TakeMeasures], line: TimedLine) -> list[TakeMeasures]:
    """Takes that only their notes place, moved by what the takes whose place is sure say of the player.

    Sure are those placed by bleed or stated, or else those taken to start with the guide. The others are moved only
    where that leaves them less uncertain than they were.
    """
    sure = [t for t in takes if t.placement.method in {"bleed", "stated"} and t.placement.uncertainty_ms <= _SURE_MS]
    sure = sure or [t for t in takes if t.placement.method == "guide's start"]
    if not sure:
        return list(takes)
    usual_ms = np.array([_median(column) for column in np.array([t.late_ms for t in sure]).T])
    return [_settled(t, usual_ms, line, sure) if t.placement.method == "line" else t for t in takes]


def _settled(take: TakeMeasures, usual_ms: np.ndarray, line: TimedLine, sure: Sequence[TakeMeasures]) -> TakeMeasures:
    apart_ms = take.late_ms - usual_ms
    by_phrase = [_median(apart_ms[p.first_note : p.last_note + 1]) for p in line.phrases]
    phrases_ms = np.array([v for v in by_phrase if np.isfinite(v)])
    known = int(np.isfinite(apart_ms).sum())
    if known < _ENOUGH_NOTES or len(phrases_ms) < 2:
        return take
    shift_ms, spread_ms = robust_mean(phrases_ms)
    error_ms = spread_ms / float(np.sqrt(len(phrases_ms)))
    of_player_ms = CHANGE_MS * float(np.sqrt(1.0 + 1.0 / len(sure)))
    uncertainty_ms = 2.0 * float(np.hypot(error_ms, of_player_ms))
    if sure[0].placement.method == "guide's start":
        uncertainty_ms += HABIT_MS / 2.0
    if uncertainty_ms >= take.placement.uncertainty_ms:
        return take
    return moved(take, _beside(take.placement, shift_ms, uncertainty_ms, sure[0].path))


def _beside(placement: Placement, shift_ms: float, uncertainty_ms: float, path: str) -> Placement:
    offset_s = placement.offset_s - shift_ms / 1e3
    sentence = (
        f"Starts {offset_s:+.3f} s from the guide's start, by its notes beside those of '{path}' "
        f"(give or take {uncertainty_ms:.0f} ms). {placement.clock_sentence}"
    ).strip()
    return replace(
        placement, offset_s=offset_s, method="another take", sentence=sentence, uncertainty_ms=uncertainty_ms
    )


def moved(take: TakeMeasures, placement: Placement) -> TakeMeasures:
    """A take's measures at another offset; the rest of the placement must be the same."""
    shift_s = placement.offset_s - take.placement.offset_s
    phrases = tuple(
        replace(
            phrase,
            stray_at_s=phrase.stray_at_s + shift_s,
            gap_s=None if phrase.gap_s is None else phrase.gap_s + shift_s,
        )
        for phrase in take.phrases
    )
    return replace(
        take,
        placement=placement,
        late_ms=take.late_ms + 1e3 * shift_s,
        groove_ms=take.groove_ms + 1e3 * shift_s,
        phrases=phrases,
    )


def _median(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else float("nan")
