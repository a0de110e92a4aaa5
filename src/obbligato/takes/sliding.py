"""The pitches of a line, slid over the pitches of a take: where it lies to a frame, or that it is not there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from obbligato.takes.hearing import Heard
from obbligato.takes.notes import own_tuning_cents
from obbligato.takes.pitch import HOP_S
from obbligato.takes.readings import TimedLine
from obbligato.units import hz_to_midi

LEAST_MATCH = 0.45
_CERTAIN_MATCH = 0.6
_LEAST_MARGIN = 0.2
_ROLL_SPREAD = 0.6
_QUIETEST_DB = 40.0
_RATES_HZ = (22050, 32000, 44100, 48000, 88200, 96000, 176400, 192000)
_FURTHEST_RATE = 2.3
_GOOD_MATCH = 0.7
_BETTER_BY = 0.2
_LEAST_MATCHED_S = 2.0
_LEAST_NOTES = 5
_NOTE_SHARE = 0.4


@dataclass(frozen=True)
class Slid:
    """The best place of a line in a take.

    Attributes
    ----------
    offset_s
        The take's first sample on the guide's time, to a frame.
    match
        Share of what the take covers of the line that is heard there; or, where it is higher and some notes of it
        are, the share of the playing that is in the line, for a take may hold a few bars and then rest.
    margin
        How far the next best place, a second or more away, stands behind, as a share of the best.
    """

    offset_s: float
    match: float
    margin: float

    @property
    def holds_line(self) -> bool:
        """Whether the take holds the line at all."""
        return self.match >= _CERTAIN_MATCH or (self.match >= LEAST_MATCH and self.margin >= _LEAST_MARGIN)


def slide(heard: Heard, line: TimedLine, *, a4_hz: float, rate_factor: float = 1.0) -> Slid:
    """Find the best place of a line in a take, as if it were played `rate_factor` times as slowly."""
    wanted = line_roll(line)
    rolled, sounding = take_roll(heard, line, a4_hz=a4_hz, rate_factor=rate_factor)
    n_take, n_line = rolled.shape[1], wanted.shape[1]
    size = scipy.fft.next_fast_len(n_take + n_line, real=True)
    total = np.zeros(size // 2 + 1, dtype=np.complex64)
    for line_row, take_row in zip(wanted, rolled, strict=True):
        total += scipy.fft.rfft(line_row.astype(np.float32), size) * np.conj(
            scipy.fft.rfft(take_row.astype(np.float32), size)
        )
    lags = np.concatenate([np.arange(n_line), np.arange(-n_take, 0)])
    matched = scipy.fft.irfft(total, size)[lags]
    best = int(np.argmax(matched))
    lag, most = int(lags[best]), float(matched[best])
    rival = float(matched[np.abs(lags - lag) > 1.0 / HOP_S].max(initial=0.0))
    both = _heard_there(wanted, rolled, lag)
    of_line = _share_of_line(wanted, n_take, lag, both)
    of_playing = _share_of_playing(line, sounding, both)
    return Slid(lag * HOP_S, max(of_line, of_playing), 1.0 - rival / max(most, 1e-9))


def other_rate_hz(heard: Heard, line: TimedLine, *, a4_hz: float, as_named: Slid) -> tuple[int, Slid] | None:
    """The rate at which a take holds the line much better than at the rate its file names, and its place then."""
    if as_named.match >= _GOOD_MATCH:
        return None
    best: tuple[int, Slid] | None = None
    for rate_hz in _RATES_HZ:
        factor = heard.named_sr / rate_hz
        if rate_hz == heard.named_sr or not 1.0 / _FURTHEST_RATE <= factor <= _FURTHEST_RATE:
            continue
        other = slide(heard, line, a4_hz=a4_hz, rate_factor=factor)
        better = other.holds_line and other.match >= as_named.match + _BETTER_BY
        if better and (best is None or other.match > best[1].match):
            best = (rate_hz, other)
    return best


def line_roll(line: TimedLine) -> NDArray[np.bool_]:
    """When each pitch of the line is to sound, by rising pitch and frame."""
    pitches = sorted({note.midi for note in line.notes})
    roll = np.zeros((len(pitches), int(line.notes[-1].end_s / HOP_S) + 2), dtype=bool)
    for note in line.notes:
        roll[pitches.index(note.midi), round(note.start_s / HOP_S) : round(note.end_s / HOP_S)] = True
    return roll


def take_roll(
    heard: Heard, line: TimedLine, *, a4_hz: float, rate_factor: float = 1.0
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """When each pitch of the line is heard in a take, likewise, and when anything pitched is."""
    tuning = own_tuning_cents(heard, a4_hz=a4_hz * rate_factor) / 100.0
    n_take = int(heard.n_frames * rate_factor) + 1
    source = np.minimum((np.arange(n_take) / rate_factor).astype(int), heard.n_frames - 1)
    midi = hz_to_midi(np.maximum(heard.track.f0_hz[source], 1.0) / rate_factor, a4_hz=a4_hz) - tuning
    voiced, level_db = heard.track.voiced[source], heard.level_db[source]
    sounding = voiced & np.asarray(level_db > heard.level_db.max() - _QUIETEST_DB)
    pitches = np.array(sorted({note.midi for note in line.notes}))[:, None]
    return np.asarray(sounding & (np.abs(midi - pitches) < _ROLL_SPREAD)), sounding


def _heard_there(wanted: NDArray[np.bool_], rolled: NDArray[np.bool_], lag: int) -> NDArray[np.bool_]:
    """Frames of the line in which the take, lying at `lag`, sounds as it should."""
    n_line = wanted.shape[1]
    both = np.zeros(n_line, dtype=bool)
    first, last = max(0, lag), min(n_line, lag + rolled.shape[1])
    if last > first:
        both[first:last] = (rolled[:, first - lag : last - lag] & wanted[:, first:last]).any(axis=0)
    return both


def _share_of_line(wanted: NDArray[np.bool_], n_take: int, lag: int, both: NDArray[np.bool_]) -> float:
    """What is heard of what the take covers; 0 where it covers next to nothing."""
    any_pitch = np.asarray(wanted.any(axis=0))
    covered = int(any_pitch[max(0, lag) : max(0, lag + n_take)].sum())
    enough = covered >= min(1.0 / HOP_S, 0.5 * any_pitch.sum())
    return float(both.sum() / max(covered, 1)) if enough else 0.0


def _share_of_playing(line: TimedLine, sounding: NDArray[np.bool_], both: NDArray[np.bool_]) -> float:
    """What of the playing is in the line; 0 where too few of its notes are heard to say."""
    spans = [(round(n.start_s / HOP_S), round(n.end_s / HOP_S)) for n in line.notes]
    heard_notes = sum(both[a:b].mean() >= _NOTE_SHARE for a, b in spans if b > a)
    enough = both.sum() >= _LEAST_MATCHED_S / HOP_S and heard_notes >= min(_LEAST_NOTES, len(line.notes))
    return float(both.sum() / max(int(sounding.sum()), 1)) if enough else 0.0
