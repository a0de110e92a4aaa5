"""What else each note was like: its vibrato and steadiness, when it was let go, how bright it sounded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from obbligato.takes.hearing import Heard, pitch_range_hz
from obbligato.takes.notes import PlayedNote
from obbligato.takes.partials import Floats, window_length
from obbligato.takes.pitch import ANALYSIS_SR
from obbligato.takes.readings import TimedLine
from obbligato.takes.vibrato import find_vibrato, steadiness_cents
from obbligato.units import hz_to_midi

_HEAD_S, _TAIL_S = 0.08, 0.03
_SPECTRUM = 4096
_LOWEST_HZ = 50.0
_LET_GO_DB = 12.0
_LET_GO_REACH_S = 0.3
_LEVEL_S = 0.01
_LEVEL = int(_LEVEL_S * ANALYSIS_SR)


@dataclass(frozen=True)
class NoteDetail:
    """One note in one take; None where it was not played, or was too short to tell.

    Attributes
    ----------
    released_s
        When it was let go, seconds in the take.
    """

    steadiness_cents: float | None = None
    vibrato_hz: float | None = None
    vibrato_cents: float | None = None
    released_s: float | None = None
    brightness_hz: float | None = None


def detail_notes(
    heard: Heard, line: TimedLine, played: Sequence[PlayedNote], *, a4_hz: float
) -> tuple[NoteDetail, ...]:
    """The details of every note of the line."""
    cents = 100.0 * hz_to_midi(np.maximum(heard.track.f0_hz, 1.0), a4_hz=a4_hz)
    window_s = window_length(pitch_range_hz(line, a4_hz)[0], ANALYSIS_SR) / ANALYSIS_SR
    starts_s = [p.start_s for p in played if p.start_s is not None]
    details = []
    for note in played:
        if note.start_s is None or note.end_s is None:
            details.append(NoteDetail())
            continue
        after_s = starts_s[int(np.searchsorted(starts_s, note.start_s, side="right")) :]
        contour = _contour(heard, cents, note.start_s, note.end_s)
        swing = find_vibrato(contour, window_s=window_s)
        details.append(
            NoteDetail(
                steadiness_cents(contour),
                swing.hz if swing else None,
                swing.cents if swing else None,
                released_s(heard, note.start_s, note.end_s, next_s=after_s[0] if after_s else np.inf),
                brightness_hz(heard, note.start_s, note.end_s),
            )
        )
    return tuple(details)


def _contour(heard: Heard, cents: Floats, start_s: float, end_s: float) -> Floats:
    """Pitch within a note without its attack and release; frames without a pitch, or far off, bridged over."""
    head_s = min(_HEAD_S, 0.35 * (end_s - start_s))
    frames = heard.frames_between(start_s + head_s, end_s - _TAIL_S)
    here, usable = cents[frames], heard.track.voiced[frames]
    if usable.sum() < 4:
        return np.zeros(0)
    usable = usable & (np.abs(here - np.median(here[usable])) < 150.0)
    inside = np.flatnonzero(usable)
    return np.interp(np.arange(inside[0], inside[-1] + 1), inside, here[inside]) if inside.size else np.zeros(0)


def released_s(heard: Heard, start_s: float, end_s: float, *, next_s: float) -> float:
    """When a note was let go: the last moment at which it is within 12 dB of its own level, before the next begins.

    Below that, in a room, what is heard is the room.
    """
    stop_s = min(end_s + _LET_GO_REACH_S, next_s, heard.duration_s)
    first = int(start_s * ANALYSIS_SR)
    squares = np.asarray(heard.y[first : int(stop_s * ANALYSIS_SR)], dtype=np.float64) ** 2
    n = len(squares) // _LEVEL
    if n < 4:
        return end_s
    power = squares[: n * _LEVEL].reshape(n, _LEVEL).mean(axis=1)
    body = float(np.median(power[: max(4, int((end_s - start_s) / _LEVEL_S))]))
    sounding = np.flatnonzero(power >= body * 10 ** (-_LET_GO_DB / 10))
    return min(stop_s, start_s + float(sounding[-1] + 1) * _LEVEL_S) if sounding.size else end_s


def brightness_hz(heard: Heard, start_s: float, end_s: float) -> float | None:
    """Centre of gravity of the magnitudes of a note's spectrum up to 8 kHz, in its middle quarter of a second.

    References
    ----------
    Grey and Gordon, "Perceptual effects of spectral modifications on musical timbres", Journal of the Acoustical
    Society of America 63(5), 1978.
    """
    size = min(_SPECTRUM, int((end_s - start_s) * ANALYSIS_SR))
    first = int((start_s + end_s) / 2 * ANALYSIS_SR) - size // 2
    piece = heard.y[max(0, first) : max(0, first) + size]
    if len(piece) < _SPECTRUM // 8:
        return None
    magnitude = np.abs(np.fft.rfft(piece * np.hanning(len(piece))))
    bins_hz = np.arange(len(magnitude)) * ANALYSIS_SR / len(piece)
    magnitude[bins_hz < _LOWEST_HZ] = 0.0
    total = float(magnitude.sum())
    return float((magnitude * bins_hz).sum()) / total if total > 0 else None
