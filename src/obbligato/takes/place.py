"""Where a take lies on the guide's time.

Three kinds of evidence, from coarse to fine. The pitches of the line, slid over the pitches of the take, find the
place to about a frame, whatever the take begins with. The attacks of its notes then give the place to the player's
own lateness, as a mean that leaves outlying notes out, so that a late phrase does not move the take. Bleed of the
click or the guide, where there is any, gives it to a fraction of a millisecond, whatever the player did.

Without bleed a take and its player's lateness cannot be told apart. Hardly any recording starts by chance within
some hundredths of a second of the guide's first sample, whereas players are often late or early by that much: so a
take found within `LATENESS_S` of it is taken to start there, and the rest is reported as the player's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.takes.align import align
from obbligato.takes.bleed import Bleed, find_bleed, levelled
from obbligato.takes.hearing import Heard, hear, to_analysis_rate
from obbligato.takes.notes import PlayedNote, own_tuning_cents, read_notes
from obbligato.takes.pitch import HOP_S, Floats
from obbligato.takes.readings import TimedLine
from obbligato.units import hz_to_midi

LATENESS_S = 0.04
"""The offset up to which a take is taken to start with the guide, and the rest to be the player's."""
HEADPHONE_S = 0.004
"""The delay from headphone to microphone up to which bleed says that a take starts with the guide."""
RATE_FACTORS = (44100 / 48000, 48000 / 44100)
_LEAST_MATCH = 0.45
_CERTAIN_MATCH = 0.6
_LEAST_MARGIN = 0.2
_CLEAN_ENOUGH = 6
_DRIFT_SIGNIFICANCE = 4.0
_LEAST_DRIFT_PPM = 8.0
_MOST_DRIFT_PPM = 300.0
_ROUGH_ROLL_SPREAD = 0.6


@dataclass(frozen=True)
class Placement:
    """Where a take lies.

    Attributes
    ----------
    offset_s
        The take's first sample on the guide's time (positive: the take starts later).
    drift_ppm
        Clock of the take against the guide's (positive: the take runs slow and falls behind); 0 unless significant.
    confidence
        0 to 1.
    method
        What the offset rests on: "line", "bleed", "guide's start" or "stated".
    sentence
        The same in words.
    rate_suspect
        Whether the take sounds as if its file named a wrong sampling rate.
    """

    offset_s: float
    drift_ppm: float
    confidence: float
    method: str
    sentence: str
    rate_suspect: bool = False

    def to_take_s(self, guide_s: Floats | float) -> Floats:
        """Times in the take of times on the guide."""
        return np.asarray((np.asarray(guide_s) - self.offset_s) * (1.0 + self.drift_ppm * 1e-6))

    def to_guide_s(self, take_s: Floats | float) -> Floats:
        """Times on the guide of times in the take."""
        return np.asarray(np.asarray(take_s) / (1.0 + self.drift_ppm * 1e-6) + self.offset_s)


def place_take(
    take: Audio, line: TimedLine, *, guide: Audio | None = None, click: Audio | None = None, a4_hz: float = 440.0
) -> Placement:
    """Find where a take of a line lies on the guide's time.

    Parameters
    ----------
    take
        At any rate, beginning anywhere.
    guide, click
        What the player heard; looked for as bleed.
    a4_hz
        The song's tuning.

    Raises
    ------
    InputError
        When the take is silent or does not hold the line.
    """
    sources = tuple(levelled(to_analysis_rate(audio)) for audio in (click, guide) if audio is not None)
    return place_heard(hear(take, line, a4_hz=a4_hz), line, sources=sources, a4_hz=a4_hz)[0]


def stated_placement(offset_s: float) -> Placement:
    """The place of a take as the player states it."""
    return Placement(offset_s, 0.0, 1.0, "stated", f"Starts {offset_s:+.3f} s from the guide's start, as stated.")


def place_heard(
    heard: Heard, line: TimedLine, *, sources: tuple[NDArray[np.float32], ...] = (), a4_hz: float
) -> tuple[Placement, tuple[PlayedNote, ...]]:
    """`place_take` for a take already heard, with the notes found on the way; `sources` as from `bleed.levelled`.

    Raises
    ------
    InputError
        When the take does not hold the line.
    """
    rough = _rough(heard, line, a4_hz, 1.0)
    suspect = _other_rate(heard, line, a4_hz, rough)
    if suspect is not None:
        return suspect, ()
    if rough.match < _LEAST_MATCH or (rough.match < _CERTAIN_MATCH and rough.margin < _LEAST_MARGIN):
        raise InputError(
            f"The take does not hold this line (at best {100 * rough.match:.0f} % of it is heard); "
            "check that it is the right file, and the right version of the line."
        )
    played = play_back(heard, line, stated_placement(rough.offset_s), a4_hz=a4_hz)
    by_line = _refined(line, rough, played)
    sought = [find_bleed(levelled(heard.y), source, near_s=by_line.offset_s) for source in sources]
    bleeds = [bleed for bleed in sought if bleed is not None]
    if bleeds:
        return _by_bleed(max(bleeds, key=lambda b: b.strength), by_line), played
    return _settled(by_line), played


def play_back(heard: Heard, line: TimedLine, placement: Placement, *, a4_hz: float) -> tuple[PlayedNote, ...]:
    """Every note of the line as played in a take that lies about at `placement`, in the take's own seconds."""
    expected_s = placement.to_take_s(np.array([note.start_s for note in line.notes]))
    tuning = own_tuning_cents(heard, a4_hz=a4_hz)
    found = align(heard, line.notes, expected_s, a4_hz=a4_hz, tuning_cents=tuning)
    return read_notes(heard, line.notes, found, expected_s, a4_hz=a4_hz)


@dataclass(frozen=True)
class _Rough:
    offset_s: float
    match: float
    margin: float


@dataclass(frozen=True)
class _ByLine:
    offset_s: float
    error_s: float
    drift_ppm: float
    confidence: float


def _rough(heard: Heard, line: TimedLine, a4_hz: float, rate_factor: float) -> _Rough:
    """Slide the line's pitches over the take's; `match` is the share of the line heard at the best place."""
    pitches = sorted({note.midi for note in line.notes})
    tuning = own_tuning_cents(heard, a4_hz=a4_hz * rate_factor) / 100.0
    n_take = int(heard.n_frames * rate_factor) + 1
    source = np.minimum((np.arange(n_take) / rate_factor).astype(int), heard.n_frames - 1)
    midi = hz_to_midi(np.maximum(heard.track.f0_hz[source], 1.0) / rate_factor, a4_hz=a4_hz) - tuning
    sounding = (heard.track.voiced & (heard.level_db > heard.level_db.max() - 40.0))[source]
    n_line = int(line.notes[-1].end_s / HOP_S) + 2
    size = scipy.fft.next_fast_len(n_take + n_line, real=True)
    total = np.zeros(size // 2 + 1, dtype=complex)
    line_frames = np.zeros(n_line)
    for pitch in pitches:
        wanted = np.zeros(n_line)
        for note in line.notes:
            if note.midi == pitch:
                wanted[round(note.start_s / HOP_S) : round(note.end_s / HOP_S)] = 1.0
        line_frames = np.maximum(line_frames, wanted)
        heard_here = (sounding & (np.abs(midi - pitch) < _ROUGH_ROLL_SPREAD)).astype(float)
        total += scipy.fft.rfft(wanted, size) * np.conj(scipy.fft.rfft(heard_here, size))
    matched = scipy.fft.irfft(total, size)
    lags = np.concatenate([np.arange(n_line), np.arange(-n_take, 0)])
    matched = matched[lags]
    best = int(np.argmax(matched))
    lag = int(lags[best])
    covered = line_frames[max(0, lag) : max(0, lag + n_take)].sum()
    rival = matched[np.abs(lags - lag) > 1.0 / HOP_S].max(initial=0.0)
    enough = covered >= min(1.0 / HOP_S, 0.5 * line_frames.sum())
    match = float(matched[best] / max(covered, 1.0)) if enough else 0.0
    return _Rough(lag * HOP_S, match, float(1.0 - rival / max(matched[best], 1e-9)))


def _other_rate(heard: Heard, line: TimedLine, a4_hz: float, rough: _Rough) -> Placement | None:
    if rough.match >= 0.7:
        return None
    for factor in RATE_FACTORS:
        other = _rough(heard, line, a4_hz, 1.0 / factor)
        if other.match >= max(_LEAST_MATCH, rough.match + 0.2):
            true_sr, named_sr = (44100, 48000) if factor < 1 else (48000, 44100)
            sentence = (
                f"The take plays {'fast and sharp' if factor < 1 else 'slow and flat'}, as a {true_sr} Hz recording "
                f"whose file says {named_sr} Hz; export it again at its true rate."
            )
            return Placement(other.offset_s, 0.0, 0.0, "line", sentence, rate_suspect=True)
    return None


def _refined(line: TimedLine, rough: _Rough, played: tuple[PlayedNote, ...]) -> _ByLine:
    """Offset and drift from the attacks of the notes; only from those that stand clear where there are enough."""
    heard = [p for p in played if p.right]
    clean = [p for p in heard if p.clean_attack]
    chosen = clean if len(clean) >= _CLEAN_ENOUGH else heard
    if not chosen:
        return _ByLine(rough.offset_s, 0.05, 0.0, 0.2)
    nominal_s = np.array([line.notes[p.index].start_s - rough.offset_s for p in chosen])
    residual_s = np.array([p.start_s for p in chosen], dtype=np.float64) - nominal_s
    drift = significant_slope(nominal_s, residual_s)
    lateness_s, spread_s = robust_mean(residual_s - drift * nominal_s)
    confidence = float(np.clip(rough.match, 0, 1) * np.clip(0.5 + rough.margin, 0, 1))
    return _ByLine(rough.offset_s - lateness_s, spread_s / float(np.sqrt(len(chosen))), 1e6 * drift, confidence)


def _by_bleed(bleed: Bleed, by_line: _ByLine) -> Placement:
    drift_ppm = by_line.drift_ppm if bleed.drift_ppm is None else bleed.drift_ppm
    drift_ppm = drift_ppm if abs(drift_ppm) >= _LEAST_DRIFT_PPM else 0.0
    at_start = abs(bleed.offset_s) <= HEADPHONE_S
    offset_s = 0.0 if at_start else bleed.offset_s
    where = "with the guide" if at_start else f"{offset_s:+.4f} s from the guide's start"
    sentence = f"Starts {where}, by the sound of the headphones in it{_drift_words(drift_ppm)}."
    return Placement(offset_s, drift_ppm, 1.0, "bleed", sentence)


def _settled(by_line: _ByLine) -> Placement:
    if abs(by_line.offset_s) <= LATENESS_S:
        late_ms = -1e3 * by_line.offset_s
        words = f"{abs(late_ms):.0f} ms {'early' if late_ms < 0 else 'late'}"
        sentence = f"Starts with the guide; played {words} on the whole{_drift_words(by_line.drift_ppm)}."
        return Placement(0.0, by_line.drift_ppm, by_line.confidence, "guide's start", sentence)
    sentence = (
        f"Starts {by_line.offset_s:+.3f} s from the guide's start, by its notes (give or take "
        f"{max(1.0, 2e3 * by_line.error_s):.0f} ms, and the player's own lateness){_drift_words(by_line.drift_ppm)}."
    )
    return Placement(by_line.offset_s, by_line.drift_ppm, by_line.confidence, "line", sentence)


def _drift_words(drift_ppm: float) -> str:
    return f"; its clock runs {abs(drift_ppm):.0f} ppm {'slow' if drift_ppm > 0 else 'fast'}" if drift_ppm else ""


def significant_slope(at_s: Floats, residual_s: Floats) -> float:
    """Slope of lateness over time, 0 unless it cannot be the player's wandering.

    Theil's median of slopes over ten or so groups of neighbouring notes; the groups' own scatter about the line says
    how far it can be trusted. It must be `_DRIFT_SIGNIFICANCE` times its error, and no more than clocks differ.
    """
    if len(at_s) < 20 or np.ptp(at_s) < 45.0:
        return 0.0
    groups = np.array_split(np.arange(len(at_s)), min(len(at_s) // 3, 12))
    t = np.array([np.median(at_s[g]) for g in groups])
    r = np.array([np.median(residual_s[g]) for g in groups])
    i, j = np.triu_indices(len(t), 1)
    slope = float(np.median((r[j] - r[i]) / (t[j] - t[i])))
    rest = r - slope * t
    every = residual_s - slope * at_s
    of_notes = 1.4826 * float(np.median(np.abs(every - np.median(every)))) / float(np.sqrt(len(at_s) / len(groups)))
    scatter = max(1.4826 * float(np.median(np.abs(rest - np.median(rest)))), of_notes, 0.0003)
    error = 1.25 * scatter / float(np.sqrt(np.sum((t - t.mean()) ** 2)))
    plausible = _LEAST_DRIFT_PPM <= 1e6 * abs(slope) <= _MOST_DRIFT_PPM
    return slope if plausible and abs(slope) >= _DRIFT_SIGNIFICANCE * error else 0.0


def robust_mean(values: Floats) -> tuple[float, float]:
    """Mean and spread of what lies within three robust standard deviations of the median."""
    centre = float(np.median(values))
    spread = max(1.4826 * float(np.median(np.abs(values - centre))), 1e-4)
    kept = values[np.abs(values - centre) <= 3.0 * spread]
    return float(kept.mean()), max(float(kept.std()), 1e-4)
