"""The metre: which pulses are beats, which beats are downbeats, and how a beat divides.

Every way to count is a hypothesis: a beat of so many pulses, a bar of so many beats, a division of the beat, and a
first downbeat. Each predicts where accents should lie (bar line above half bar above beat above division: the
metrical hierarchy of Lerdahl & Jackendoff, 1983; low drums on the strong beats and the snare between, common
practice). Its evidence is the correlation of that prediction with the accent curves over the whole song; to it is
added how usual such a beat and such a bar are: log-normal priors with the medians of Klapuri, Eronen & Astola,
"Analysis of the meter of acoustic musical signals", IEEE TASLP 2006 (beat 0.55 s, measure 2.1 s), with wider spreads.

Two conventions of writing cannot be heard as such and are decided by rule. A beat in three parts is written as a
dotted quarter when all three parts are played, and as a swung quarter when the middle one is left out, or when three
or four such beats a bar go by faster than 100 a minute. A bar of such beats has two of them (6/8) when everything
comes again after two: the pattern of the low drums and the bass, that of the snare, and the changes of harmony nearly
as often (as often, if the middle part is left out); otherwise it has four. Two swung quarters make no bar, so such a
bar is 6/8 with its middle part or without.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from scipy import ndimage

from obbligato.listen.accents import CURVES, PER_PULSE, Accents
from obbligato.listen.count_in import ClickRun
from obbligato.listen.onsets import Floats
from obbligato.listen.pulse import Pulse

LOWEST_BPM, HIGHEST_BPM = 36.0, 250.0
_BEATS_PER_PULSE = tuple(
    map(Fraction, ("1/12", "1/8", "1/6", "1/4", "1/3", "1/2", "2/3", "1", "4/3", "3/2", "2", "3"))
)
_BARS = (
    *((4, 2, ()), (4, 4, ()), (4, 3, ()), (3, 2, ()), (3, 4, ()), (3, 3, ()), (2, 3, ())),
    *((5, parts, groups) for parts in (2, 3, 4) for groups in ((3, 2), (2, 3))),
    *((7, 2, groups) for groups in ((2, 2, 3), (3, 2, 2), (2, 3, 2))),
)
"""Beats a bar, parts of a beat, and how beats of an uneven bar are grouped, that are tried."""
_UNEVEN_PRIOR = -0.8
_LONGEST_EIGHTH_S = 0.42
"""Seven beats a bar are written as eighths when they go by at least this fast."""
_BEAT_MEDIAN_S, _BAR_MEDIAN_S, _PRIOR_SPREAD = 0.55, 2.1, 0.45
_PRIOR_WEIGHT = 0.5
_WITNESS_WEIGHTS = np.array([4.0, 6.0, 3.0, 10.0])
_CLICKS_ARE_BEATS = 1.0
_FIRST_CLICK_IS_DOWNBEAT = 1.0
_PART_HEARD = 0.12
"""A part of a beat counts as played from this share of the strength on the beat."""
_SHORTEST_DOTTED_BEAT_S = 0.6
_SHORTEST_JIG_BEAT_S = 0.43
"""Dances in 6/8 go up to about 130 of their beats a minute."""
_HALF_BAR_MOVES, _HALF_BAR_MOVES_AS_OFTEN = 0.55, 0.8
_REPEATS = {"low": 0.9, "snare": 0.85}
"""A pattern repeats after half a bar when its halves are correlated so much; the tune sounds among the snare's."""


@dataclass(frozen=True)
class Count:
    """One way to count a song.

    Attributes
    ----------
    beats_per_pulse
        Beats in one pulse.
    beats_per_bar, division
        Beats a bar, and the parts a beat falls into.
    downbeat_phase
        Phase (in pulses) of one downbeat.
    score
        Evidence and prior together.
    groups
        How the beats of an uneven bar (5, 7) fall into twos and threes.
    """

    beats_per_pulse: Fraction
    beats_per_bar: int
    division: int
    downbeat_phase: float
    score: float
    groups: tuple[int, ...] = ()

    def beat_s(self, pulse: Pulse) -> float:
        """Mean length of a beat."""
        return 1.0 / (pulse.mean_hz * float(self.beats_per_pulse))

    def beat_at(self, phase: Floats) -> Floats:
        """Beats counted from the downbeat at `downbeat_phase`."""
        return np.asarray((phase - self.downbeat_phase) * float(self.beats_per_pulse))

    def phase_of(self, beat: Floats) -> Floats:
        """The inverse of `beat_at`."""
        return np.asarray(self.downbeat_phase + beat / float(self.beats_per_pulse))


def weigh_counts(accents: Accents, pulse: Pulse, clicks: ClickRun | None) -> list[Count]:
    """All ways to count, each with its best downbeat, the likeliest first."""
    counts = []
    for per_pulse in _BEATS_PER_PULSE:
        beat_s = 1.0 / (pulse.mean_hz * float(per_pulse))
        if not LOWEST_BPM <= 60.0 / beat_s <= HIGHEST_BPM:
            continue
        for beats_per_bar, division, groups in _BARS:
            bar = beats_per_bar * PER_PULSE / per_pulse
            if bar.denominator != 1 or bar / (beats_per_bar * division) < 1:
                continue
            if accents.curves.shape[1] < 2 * bar:
                continue
            count = put_downbeat(Count(per_pulse, beats_per_bar, division, 0.0, 0.0, groups), accents, pulse, clicks)
            if division == 3:
                beat, middle, last = _thirds(accents, count)
                if max(middle, last) < _PART_HEARD * beat:
                    continue
            counts.append(count)
    return sorted(counts, key=lambda c: -c.score)


def put_downbeat(count: Count, accents: Accents, pulse: Pulse, clicks: ClickRun | None) -> Count:
    """The same way to count with its best downbeat, and how well that one fits."""
    per_pulse, beats_per_bar = count.beats_per_pulse, count.beats_per_bar
    bar = int(beats_per_bar * PER_PULSE / per_pulse)
    scores = _evidence(accents, bar, predicted_accents(bar, beats_per_bar, count.division, count.groups))
    scores += _prior(count.beat_s(pulse), beats_per_bar, count.division)
    phases = accents.first_phase + np.arange(bar) / PER_PULSE
    scores += _click_bonus(phases, per_pulse, beats_per_bar, pulse, clicks)
    best = int(scores.argmax())
    return replace(count, downbeat_phase=float(phases[best]), score=float(scores[best]))


def beat_unit(count: Count, accents: Accents, pulse: Pulse) -> str:
    """The note value a beat is written as; `count` is what `settle_compound_bar` gave."""
    beat_s = count.beat_s(pulse)
    if count.division == 3 and (
        count.beats_per_bar == 2 or (beat_s >= _SHORTEST_DOTTED_BEAT_S and _middle_heard(count, accents))
    ):
        return "dotted quarter"
    return "eighth" if count.beats_per_bar == 7 and beat_s < _LONGEST_EIGHTH_S else "quarter"


def settle_compound_bar(counts: list[Count], accents: Accents, pulse: Pulse) -> Count:
    """The likeliest count, with two or four beats to a bar of beats in three parts by what repeats after two."""
    alike = [c for c in counts if (c.beats_per_pulse, c.division) == (counts[0].beats_per_pulse, 3)]
    best = next((c for c in alike if c.beats_per_bar == counts[0].beats_per_bar), counts[0])
    if counts[0].division != 3 and not (best.division == 3 and _thirds_outdo_quarters(best, accents)):
        return counts[0]
    if best.beats_per_bar not in (2, 4) or best.beat_s(pulse) < _SHORTEST_JIG_BEAT_S:
        return best
    two, four = (next((c for c in alike if c.beats_per_bar == n), None) for n in (2, 4))
    if two is None or four is None:
        return best
    least = _HALF_BAR_MOVES if _middle_heard(two, accents) else _HALF_BAR_MOVES_AS_OFTEN
    in_two = _drums_repeat(four, accents) and _half_bar_moves(four, accents) > least
    return two if in_two else four


def _drums_repeat(four: Count, accents: Accents) -> bool:
    """Whether the low and the snare's pattern of a bar of four beats come again after two; silence does."""
    for name, least in _REPEATS.items():
        bar = _bars(four, accents, accents.curves[CURVES.index(name)]).mean(axis=0)
        if bar.std() > 1e-9 and np.corrcoef(bar, np.roll(bar, bar.size // 2))[0, 1] < least:
            return False
    return True


def _half_bar_moves(four: Count, accents: Accents) -> float:
    """How often the harmony moves in the middle of a bar of four beats, for each time that it moves on its first."""
    size = int(four.beats_per_bar * PER_PULSE / four.beats_per_pulse)
    near = ndimage.maximum_filter1d(accents.curves[CURVES.index("harmony")], max(3, size // 12))
    at_quarters = _bars(four, accents, near)[:, :: size // 4].T
    still = float(np.median(at_quarters[[1, 3]]))
    moves = 0.5 * (float(np.median(at_quarters[0])) + still)
    share_bar, share_half = (float(np.mean(at_quarters[i] > moves)) for i in (0, 2))
    return share_half / max(share_bar, 1e-9)


def _bars(count: Count, accents: Accents, curve: Floats) -> Floats:
    """A curve along the pulse cut into the whole bars of a count, shape (n_bars, samples in a bar)."""
    size = int(count.beats_per_bar * PER_PULSE / count.beats_per_pulse)
    start = round((count.downbeat_phase - accents.first_phase) * PER_PULSE) % size
    return curve[start : start + (curve.size - start) // size * size].reshape(-1, size)


def _middle_heard(count: Count, accents: Accents) -> bool:
    """Whether the middle one of the three parts of a beat is played."""
    beat, middle, _ = _thirds(accents, count)
    return bool(middle >= _PART_HEARD * beat)


def _thirds_outdo_quarters(count: Count, accents: Accents) -> bool:
    """Whether a third of the beat is struck harder than its quarters and its half."""
    beat = _mean_beat(count, accents)
    thirds, quarters = (beat[np.arange(1, n) * beat.size // n] for n in (3, 4))
    return bool(thirds.max() > quarters.max())


def _thirds(accents: Accents, count: Count) -> Floats:
    """Mean onset strength on a beat and on its second and last third, above the weakest place in the beat."""
    beat = _mean_beat(count, accents)
    return np.asarray(beat[[0, beat.size // 3, 2 * beat.size // 3]])


def _mean_beat(count: Count, accents: Accents) -> Floats:
    """Mean onset strength along a beat, above its weakest place, shape (samples in a beat,)."""
    period = int(PER_PULSE / count.beats_per_pulse)
    start = round((count.downbeat_phase - accents.first_phase) * PER_PULSE) % period
    curve = accents.struck[start:]
    folded = curve[: curve.size // period * period].reshape(-1, period).mean(axis=0)
    return np.asarray(folded - folded.min())


def _evidence(accents: Accents, bar: int, predicted: Floats) -> Floats:
    """Weighted correlation of the predicted accents with the heard ones, for each place a downbeat could have."""
    curves = accents.curves
    folded = curves[:, : curves.shape[1] // bar * bar].reshape(curves.shape[0], -1, bar).mean(axis=1)
    matched = np.fft.irfft(np.fft.rfft(folded) * np.conj(np.fft.rfft(predicted)), bar) / bar
    return np.asarray(_WITNESS_WEIGHTS @ matched)


def predicted_accents(bar: int, beats_per_bar: int, division: int, groups: tuple[int, ...] = ()) -> Floats:
    """Accents that a metre predicts over one bar of `bar` samples, for each curve, of mean 0 and deviation 1."""
    predicted = _predicted(bar, beats_per_bar, division, groups)
    predicted -= predicted.mean(axis=1, keepdims=True)
    return np.asarray(predicted / np.sqrt((predicted**2).mean(axis=1, keepdims=True)))


def witness_weights() -> Floats:
    """How much each accent curve counts, in the order of `accents.CURVES`."""
    return _WITNESS_WEIGHTS.copy()


def _predicted(bar: int, beats_per_bar: int, division: int, groups: tuple[int, ...]) -> Floats:
    """Accents that a metre predicts over one bar, for each curve, shape (4, bar)."""
    everything, low, snare, harmony = np.zeros((4, bar))
    halved = beats_per_bar == 4
    for i in range(beats_per_bar * division):
        place = round(i * bar / (beats_per_bar * division))
        everything[place] = 2.0 if i % division == 0 else (0.6 if division == 4 and i % 2 else 1.0)
    beats = [round(i * bar / beats_per_bar) for i in range(beats_per_bar)]
    starts = np.cumsum((0, *groups))[:-1].tolist()
    for i, place in enumerate(beats):
        low[place] = 0.5
        snare[place] = 0.7 if beats_per_bar == 3 else (1.5 if i % 2 else 0.4)
    everything[0], low[0], harmony[0] = 3.0, 2.0, 1.0
    if halved:
        everything[beats[2]], low[beats[2]], harmony[beats[2]] = 2.3, 1.3, 0.3
    for start in starts[1:]:
        everything[beats[start]], low[beats[start]], harmony[beats[start]] = 2.3, 1.3, 0.3
    if groups:
        snare[beats] = 1.0
        snare[[beats[start] for start in starts]] = 0.4
    return np.stack([everything, low, snare, harmony])


def _prior(beat_s: float, beats_per_bar: int, division: int) -> float:
    """How usual a beat and a bar of such lengths are; a bar of 12/8 may count as the two of 6/8 that it is."""
    beat = np.log(beat_s / _BEAT_MEDIAN_S) / _PRIOR_SPREAD
    lengths = np.array([4, 2] if (beats_per_bar, division) == (4, 3) else [beats_per_bar])
    bar = np.log(lengths * beat_s / _BAR_MEDIAN_S) / _PRIOR_SPREAD
    uneven = _UNEVEN_PRIOR if beats_per_bar in (5, 7) else 0.0
    return float(-0.5 * _PRIOR_WEIGHT * (beat**2 + np.min(bar**2))) + uneven


def _click_bonus(
    phases: Floats, per_pulse: Fraction, beats_per_bar: int, pulse: Pulse, clicks: ClickRun | None
) -> Floats:
    """What a count-in adds: its clicks are beats, its first click is a downbeat."""
    if clicks is None:
        return np.zeros(phases.size)
    places = pulse.at(np.array(clicks.times_s)) * float(per_pulse)
    if abs((places[-1] - places[0]) / round(clicks.steps) - 1.0) > 0.05:
        return np.zeros(phases.size)
    away = (places[0] - phases * float(per_pulse)) / beats_per_bar
    on_it = np.abs(away - np.round(away)) * beats_per_bar < 0.2
    return np.asarray(_CLICKS_ARE_BEATS + _FIRST_CLICK_IS_DOWNBEAT * on_it)
