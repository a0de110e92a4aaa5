"""Where the bars lie along a song: one count throughout, or a beat dropped, repeated or cut in two on the way.

Every part of a beat is one place in the bar. The accents say how well each place fits (`meter`), and the best path
through the song goes on by one place at a time; a jump is allowed but dear, as dear as several bars of mistaken
downbeats. Where the path jumps the file holds a bar of another length, or was edited.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from obbligato.listen.accents import Accents
from obbligato.listen.meter import Count, predicted_accents, witness_weights
from obbligato.listen.onsets import Floats
from obbligato.listen.pulse import Pulse
from obbligato.listen.songmap import TempoStep

_PER_PART = 6
_JUMP_BARS = 14.0
_HOME_BARS, _HOME_SHARE = 8, 0.8
_FEWEST_BARS, _FEWEST_BARS_AT_ENDS, _SURE_T = 12, 6, 3.0
_STEP_BEATS = 0.2
_LEAST_SURPLUS = 0.25


def parts_of(count: Count) -> int:
    """Parts of a beat that could be mistaken for beats: as many as there are pulses in one."""
    pulses = 1 / count.beats_per_pulse
    return int(pulses) if pulses.denominator == 1 and pulses <= 4 else 1


def bar_places(
    parts_s: Floats, count: Count, accents: Accents, pulse: Pulse, *, parts: int, counted_in: bool = False
) -> NDArray[np.intp]:
    """Place in the bar, in parts of a beat, of each of `parts_s`, the times of all parts of beats in order.

    A song that is counted in begins with the downbeat of `count`.
    """
    n_places = count.beats_per_bar * parts
    gain = _fit_of_places(parts_s, count, accents, pulse, parts)
    price = _price_of_a_jump(gain)
    score = gain[0].copy()
    if counted_in:
        home, _ = _home(parts_s[: _HOME_BARS * n_places], count, pulse, parts)
        score[home] += 2.0 * price
    came = np.zeros(gain.shape, dtype=np.intp)
    for i in range(1, len(gain)):
        on = np.roll(score, 1)
        best = int(score.argmax())
        jumped = score[best] - price
        came[i] = np.where(on >= jumped, (np.arange(n_places) - 1) % n_places, best)
        score = np.maximum(on, jumped) + gain[i]
    places = np.zeros(len(gain), dtype=np.intp)
    places[-1] = int(score.argmax())
    for i in range(len(gain) - 1, 0, -1):
        places[i - 1] = came[i, places[i]]
    places = _borne_out(places, gain)
    at = np.arange(len(gain))
    home, share = _home(parts_s, count, pulse, parts)
    if share < _HOME_SHARE or np.any((places - at) % n_places != places[0]):
        return places
    return np.asarray((at + home) % n_places)


def _home(parts_s: Floats, count: Count, pulse: Pulse, parts: int) -> tuple[int, float]:
    """The place in the bar that `count` gives the first part, by what it gives most of them, and their share."""
    n_places = count.beats_per_bar * parts
    offset = np.round(count.beat_at(pulse.at(parts_s)) * parts).astype(np.intp) - np.arange(parts_s.size)
    votes = np.bincount(offset % n_places, minlength=n_places)
    return int(votes.argmax()), float(votes.max() / parts_s.size)


def _price_of_a_jump(gain: Floats) -> float:
    """What a jump costs: as much as `_JUMP_BARS` bars gain, on average, by being counted each as suits it best."""
    n, n_places = gain.shape
    at = np.arange(n // n_places * n_places)
    bars = np.stack([gain[at, (at + s) % n_places].reshape(-1, n_places).sum(axis=1) for s in range(n_places)])
    best = bars[bars.sum(axis=1).argmax()]
    surplus = float(np.mean(bars.max(axis=0) - best))
    return float(_JUMP_BARS * max(surplus, _LEAST_SURPLUS * n_places))


def _borne_out(places: NDArray[np.intp], gain: Floats) -> NDArray[np.intp]:
    """The path without those jumps that the bars on either side do not bear out one by one."""
    n, n_places = gain.shape
    at = np.arange(n)
    offset = (places - at) % n_places
    while True:
        jumps = np.flatnonzero(np.diff(offset)) + 1
        ends = [0, *jumps.tolist(), n]
        for before, jump, after in zip(ends[:-2], ends[1:-1], ends[2:], strict=True):
            left, right = offset[jump - 1], offset[jump]
            if _prefers(gain, before, jump, left, right) and _prefers(gain, jump, after, right, left):
                continue
            if jump - before < after - jump:
                offset[before:jump] = right
            else:
                offset[jump:after] = left
            break
        else:
            return np.asarray((at + offset) % n_places)


def _prefers(gain: Floats, first: int, end: int, one: int, other: int) -> bool:
    """Whether the bars of a stretch are surely better counted one way than another (Student's t of their leads)."""
    n_places = gain.shape[1]
    at = np.arange(first, first + (end - first) // n_places * n_places)
    fewest = _FEWEST_BARS_AT_ENDS if first == 0 or end == len(gain) else _FEWEST_BARS
    if at.size < fewest * n_places:
        return False
    lead = (gain[at, (at + one) % n_places] - gain[at, (at + other) % n_places]).reshape(-1, n_places).sum(axis=1)
    return bool(lead.mean() * np.sqrt(lead.size) > _SURE_T * lead.std(ddof=1))


def _fit_of_places(parts_s: Floats, count: Count, accents: Accents, pulse: Pulse, parts: int) -> Floats:
    """How well each part of a beat would fit each place in the bar, shape (n parts, n places)."""
    per_bar = count.beats_per_bar
    n_places = per_bar * parts
    edges = np.append(parts_s, 2 * parts_s[-1] - parts_s[-2])
    fine_s = np.interp(np.arange(parts_s.size * _PER_PART) / _PER_PART, np.arange(edges.size), edges)
    at = (pulse.at(fine_s) - accents.first_phase) * 12.0
    index = np.clip(np.round(at).astype(np.intp), 0, accents.curves.shape[1] - 1)
    heard = accents.curves[:, index].reshape(len(accents.curves), parts_s.size, _PER_PART)
    predicted = predicted_accents(n_places * _PER_PART, per_bar, count.division, count.groups)
    predicted = (predicted * witness_weights()[:, None]).reshape(len(accents.curves), n_places, _PER_PART)
    return np.asarray(np.einsum("cir,cpr->ip", heard, predicted) / (_PER_PART * parts))


def counted_on(
    beats_s: Floats, places: NDArray[np.intp], per_bar: int, parts: int
) -> tuple[Floats, int, tuple[TempoStep, ...]]:
    """Beats that count on evenly through every bar, the index of a downbeat among them, and the steps.

    Parameters
    ----------
    beats_s
        Times of all parts of beats.
    places
        Place in the bar of each, as `bar_places` gives them.
    per_bar, parts
        Beats a bar and parts a beat.

    Notes
    -----
    Where the file lacks a beat one is put between its neighbours, where it has one too many that is left out, so
    that every bar has its number of beats and the bars after it lie where they are heard.
    """
    on_beat = places % parts == 0
    times, place = beats_s[on_beat], places[on_beat] // parts
    gaps = np.diff(times)
    usual = ndimage.median_filter(gaps, 9, mode="nearest")
    out: list[float] = [float(times[0])]
    steps: list[TempoStep] = []
    for i, elapsed in enumerate(gaps):
        before_s, at_s, came, now = times[i], times[i + 1], place[i], place[i + 1]
        beats = 1 + (int(now - came) - 1 + (per_bar - 1) // 2) % per_bar - (per_bar - 1) // 2
        missing = float(beats - elapsed / usual[i])
        if beats != 1 or abs(missing) > _STEP_BEATS:
            steps.append(TempoStep(float(at_s), round(missing, 2)))
        if beats >= 1:
            out += [before_s + elapsed * k / beats for k in range(1, beats)]
        else:
            del out[len(out) - 1 + beats :]
        out.append(float(at_s))
    zero = -int(place[0]) % per_bar
    return np.array(out), zero, tuple(steps)
