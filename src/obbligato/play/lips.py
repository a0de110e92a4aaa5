"""Rest between takes: how long lips, or hands, still want it, by how much was played and rested until now."""

from __future__ import annotations

from collections.abc import Sequence

from obbligato.music.instruments import Instrument

BRASS_SHARE, BREATH_SHARE = 1.0, 0.5
"""Time to rest for the time played: as long for brass, half as long for other winds and the voice (common practice,
no source). A default to edit; who plays knows better."""


def usual_share(instrument: Instrument) -> float:
    """How long to rest as a share of the time played; 0 where breath and lips set no limit."""
    if instrument.breath_s is None:
        return 0.0
    return BRASS_SHARE if instrument.family == "brass" else BREATH_SHARE


def rest_wanted_s(played: Sequence[tuple[float, float]], now_s: float, *, share: float) -> float:
    """Seconds of rest that are still wanted.

    What is wanted grows by `share` for every second in which a note sounds, and falls by a second for every second in
    which none does, rests in the music included; it is never below nothing.

    Parameters
    ----------
    played
        Start and end of every note, seconds on any one clock, in any order; notes that overlap count once.
    now_s
        The present moment on that clock.
    """
    wanted_s, until_s = 0.0, None
    for start_s, end_s in sorted(played):
        begin_s = start_s if until_s is None else max(start_s, until_s)
        if end_s <= begin_s:
            continue
        idle_s = 0.0 if until_s is None else begin_s - until_s
        wanted_s = max(0.0, wanted_s - idle_s) + share * (end_s - begin_s)
        until_s = end_s
    return max(0.0, wanted_s - max(0.0, now_s - until_s)) if until_s is not None else 0.0
