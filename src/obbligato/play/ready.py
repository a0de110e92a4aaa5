"""Is the set-up ready? A few seconds of playing measured against one table of limits, gravest fault first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from obbligato.sound.audio import Audio
from obbligato.sound.bandwidth import HIGH_HZ, find_bandwidth
from obbligato.sound.dynamics import compress
from obbligato.sound.flat_tops import has_flat_tops
from obbligato.sound.hum import UNDER_PLAYING_DB, find_hum
from obbligato.sound.measures import level_dbfs
from obbligato.sound.polarity import leaning, opposite
from obbligato.sound.resting import Resting, find_rests
from obbligato.sound.suppression import GRAINY, find_suppression, grain
from obbligato.units import amplitude_to_db

State = Literal["wrong", "usable", "good", "unknown"]


class Limit(NamedTuple):
    """A figure that a check goes by, and where it comes from."""

    value: float
    unit: str
    source: str


_COMMON = "common practice, no source"
LIMITS: dict[str, Limit] = {
    "nothing": Limit(-80.0, "dBFS RMS", _COMMON),
    "peak_never": Limit(-3.0, "dBFS", _COMMON),
    "peak_high": Limit(-6.0, "dBFS", _COMMON),
    "peak_aim": Limit(-9.0, "dBFS", "the middle of -12 and -6, the peaks of common practice"),
    "peak_low": Limit(-18.0, "dBFS", "common practice, no source: at 24 bits nothing is lost down to here"),
    "floor_usable": Limit(-60.0, "dBFS RMS", _COMMON),
    "floor_good": Limit(-70.0, "dBFS RMS", _COMMON),
    "floor_under_playing": Limit(50.0, "dB", _COMMON),
    "hum_under_playing": Limit(
        UNDER_PLAYING_DB, "dB", "our own: 5 dB under the floor that is audible in quiet music"
    ),
    "bandwidth": Limit(HIGH_HZ, "Hz", "our own: headsets and telephones end at or below it"),
    "compressor_threshold": Limit(-18.0, "dBFS", "EBU R 68's alignment level, taken as a place to begin"),
    "compressor_ratio": Limit(3.0, ":1", _COMMON),
    "grain": Limit(GRAINY, "spread over mean", "our own: 1 in noise, 3 to 4 after spectral subtraction"),
    "low_cut": Limit(
        0.5, "of the lowest note's frequency", "a Butterworth filter of 12 dB/octave costs 0.26 dB there"
    ),
    "low_cut_least": Limit(30.0, "Hz", "our own: below it a cut is best left off"),
    "disk_spare": Limit(2.0, "GB", _COMMON),
}


_TOLD_WHEN_READY = (("floor", "unknown"), ("hum", "usable"), ("input", "usable"))


@dataclass(frozen=True)
class Check:
    """One thing looked at.

    Attributes
    ----------
    what
        The check's name.
    state
        `wrong` must be put right first; `usable` may stay; `unknown` could not be told.
    value, unit
        What was measured, None where there is no number to it.
    sentence
        What was found, and what to do.
    """

    what: str
    state: State
    value: float | None
    unit: str
    sentence: str


@dataclass(frozen=True)
class Readiness:
    """All checks of one recording, gravest first in the order of putting right; `sentence` is the one to show."""

    ready: bool
    sentence: str
    checks: tuple[Check, ...]
    channel: int


def check_recording(
    audio: Audio,
    *,
    wanted_sr: int | None = None,
    lowest_hz: float | None = None,
    again: str = "play the loudest passage",
    others: Sequence[Check] = (),
) -> Readiness:
    """Look at a few seconds of playing, with silence before or after it.

    Parameters
    ----------
    wanted_sr
        The guide's rate, if there is a guide.
    lowest_hz
        Frequency of the lowest note of the part, if it is known.
    again
        What to play after a fault was put right, as an order in the middle of a sentence.
    others
        Checks of other things than the sound (the disk); the sound comes first.
    """
    levels = [level_dbfs(y) for y in audio.y]
    channel = int(np.argmax(levels))
    divided = find_rests(audio.y[channel], audio.sr)
    checks = [_check_input(levels, channel, divided)]
    if checks[0].state != "wrong":
        checks += [
            *([] if wanted_sr is None else [_check_rate(audio.sr, wanted_sr)]),
            *_check_peaks(audio, again),
            _check_suppression(audio, channel, divided),
            _check_bandwidth(audio, channel, divided),
            _check_hum(audio, channel, divided),
            _check_floor(divided),
            _check_polarity(audio, levels),
            _check_compressor(audio),
            *([] if lowest_hz is None else [check_low_cut(lowest_hz)]),
        ]
    return in_order([*checks, *others], channel=channel + 1)


def in_order(checks: Sequence[Check], *, channel: int) -> Readiness:
    """The verdict on checks given in the order in which they are to be put right."""
    wrong = next((check for check in checks if check.state == "wrong"), None)
    if wrong is not None:
        return Readiness(False, wrong.sentence, tuple(checks), channel)
    found = {check.what: check for check in checks}
    parts = [f"peaks at {found['peaks'].value:.1f} dBFS"]
    if found["floor"].value is not None:
        parts.append(f"the room at {found['floor'].value:.0f} dBFS")
    told = [check.sentence for check in checks if (check.what, check.state) in _TOLD_WHEN_READY]
    return Readiness(True, " ".join([f"Ready to record: {', '.join(parts)}.", *told]), tuple(checks), channel)


def _check_input(levels: Sequence[float], channel: int, divided: Resting) -> Check:
    level = levels[channel]
    if level <= LIMITS["nothing"].value:
        sentence = (
            "Nothing comes in: check the cable, the channel that is being recorded, and its switch for phantom power."
        )
        return Check("input", "wrong", level, "dBFS", sentence)
    if not divided.plays:
        sentence = (
            f"No playing stands out of a steady sound at {divided.loud_dbfs:.0f} dBFS: tap the microphone that you "
            "mean to record; if nothing moves, another input is chosen. Leave two seconds of silence before you play."
        )
        return Check("input", "wrong", level, "dBFS", sentence)
    dead = [i for i, other in enumerate(levels, start=1) if other <= LIMITS["nothing"].value]
    if dead:
        sentence = (
            f"The instrument is on channel {channel + 1}; channel {' and '.join(map(str, dead))} is silent. "
            "Record that one channel alone."
        )
        return Check("input", "usable", level, "dBFS", sentence)
    return Check("input", "good", level, "dBFS", f"The instrument is heard on channel {channel + 1}.")


def _check_rate(sr: int, wanted_sr: int) -> Check:
    if sr != wanted_sr:
        sentence = f"Set the recorder to {wanted_sr} Hz, the guide's rate; it is at {sr} Hz."
        return Check("rate", "wrong", sr, "Hz", sentence)
    return Check("rate", "good", sr, "Hz", f"The rate is the guide's, {sr} Hz.")


def _check_peaks(audio: Audio, again: str) -> list[Check]:
    peak = float(amplitude_to_db(np.abs(audio.y).max()))
    down_db = peak - LIMITS["peak_aim"].value
    if has_flat_tops(audio):
        sentence = (
            "The loudest crests are cut flat: the input is overdriven. Turn the preamplifier down by 10 dB"
            if peak > LIMITS["peak_never"].value
            else f"The crests are cut flat at {peak:.1f} dBFS, below the converter's limit: something before it "
            "gives out. Turn the preamplifier down or switch on the microphone's pad, not the recorder's fader"
        )
        tops = Check("flat tops", "wrong", peak, "dBFS", f"{sentence}, and {again} again.")
    else:
        tops = Check("flat tops", "good", None, "", "No crest is cut flat.")
    if peak > LIMITS["peak_high"].value:
        grave = " much" if peak > LIMITS["peak_never"].value else ""
        sentence = (
            f"Turn the input down by {down_db:.0f} dB and {again} again: the peaks reach {peak:.1f} dBFS, too{grave} "
            "near the limit; they should lie between -12 and -6."
        )
        return [tops, Check("peaks", "wrong", peak, "dBFS", sentence)]
    if peak < LIMITS["peak_low"].value:
        sentence = (
            f"Turn the input up by {-down_db:.0f} dB and {again} again: the peaks reach only {peak:.1f} dBFS; "
            "they should lie between -12 and -6."
        )
        return [tops, Check("peaks", "wrong", peak, "dBFS", sentence)]
    return [
        tops,
        Check("peaks", "good", peak, "dBFS", f"The peaks reach {peak:.1f} dBFS; between -18 and -6 is right."),
    ]


def _check_suppression(audio: Audio, channel: int, divided: Resting) -> Check:
    ends = [*(start for start, _ in divided.runs[1:]), audio.duration_s]
    gaps = [(end, start) for (_, end), start in zip(divided.runs, ends, strict=True)]
    found = find_suppression(audio.y[channel], audio.sr, gaps, fewest=1)
    if found is not None:
        sentence = (
            f"After your notes the sound drops at once to {max(found.silence_dbfs, -120.0):.0f} dBFS, which no room "
            "does: turn off noise suppression, echo cancelling, voice enhancement or the gate."
        )
        return Check("suppression", "wrong", found.silence_dbfs, "dBFS", sentence)
    grains = grain(audio.y[channel], audio.sr, divided.rests)
    if grains is not None and grains > LIMITS["grain"].value:
        sentence = (
            "The room's noise comes in grains, as a machine leaves it that takes noise away: turn off noise "
            "suppression and voice enhancement, and record without a lossy format."
        )
        return Check("suppression", "wrong", grains, "", sentence)
    return Check("suppression", "good", grains, "", "The notes die away as sound does in a room.")


def _check_bandwidth(audio: Audio, channel: int, divided: Resting) -> Check:
    found = find_bandwidth(audio.y[channel], audio.sr, divided.rests)
    if not found.known:
        return Check(
            "bandwidth", "unknown", None, "Hz", "The rests are too short or too quiet to tell the microphone by."
        )
    if found.edge_hz is None:
        return Check("bandwidth", "good", None, "Hz", "The microphone hears high enough.")
    sentence = (
        f"There is nothing above {found.edge_hz / 1000:.1f} kHz, as from a telephone, a headset or a wireless "
        "microphone: choose the right microphone, and tap it to be sure."
    )
    return Check("bandwidth", "wrong", found.edge_hz, "Hz", sentence)


def _check_hum(audio: Audio, channel: int, divided: Resting) -> Check:
    found = find_hum(audio.y[channel], audio.sr, playing_dbfs=divided.loud_dbfs)
    if found is None:
        return Check("hum", "good", None, "dBFS", "No mains hum is heard.")
    sentence = (
        f"Mains hum of {found.mains_hz:.0f} Hz lies at {found.level_dbfs:.0f} dBFS: try another cable, keep it away "
        "from power supplies and dimmers, and run the computer from its battery."
    )
    under = divided.loud_dbfs - found.level_dbfs
    loud = found.level_dbfs > LIMITS["floor_usable"].value or under < LIMITS["floor_under_playing"].value
    return Check("hum", "wrong" if loud else "usable", found.level_dbfs, "dBFS", sentence)


def _check_floor(divided: Resting) -> Check:
    if divided.floor_dbfs is None:
        return Check("floor", "unknown", None, "dBFS", "The room was not heard alone: leave two seconds of silence.")
    floor, under = divided.floor_dbfs, divided.loud_dbfs - divided.floor_dbfs
    if floor > LIMITS["floor_usable"].value and under < LIMITS["floor_under_playing"].value:
        sentence = (
            f"The room lies at {floor:.0f} dBFS, only {under:.0f} dB under your playing: turn off fans, fridge and "
            "heating, close the window, or go nearer to the microphone."
        )
        return Check("floor", "wrong", floor, "dBFS", sentence)
    state: State = "good" if floor <= LIMITS["floor_good"].value else "usable"
    quiet = "quiet" if state == "good" else "quiet enough"
    sentence = f"The room is {quiet}: {floor:.0f} dBFS, {under:.0f} dB under your playing."
    return Check("floor", state, floor, "dBFS", sentence)


def _check_polarity(audio: Audio, levels: Sequence[float]) -> Check:
    sounding = [i for i, level in enumerate(levels) if level > LIMITS["nothing"].value]
    if len(sounding) > 1:
        first, second = sounding[:2]
        turned = opposite(audio.y[first], audio.y[second], audio.sr)
        if turned:
            sentence = f"Channel {second + 1} is turned over against channel {first + 1}: switch the polarity of one."
            return Check("polarity", "wrong", None, "", sentence)
        if turned is False:
            return Check("polarity", "good", None, "", "The two microphones have the same polarity.")
    side, by_db = leaning(audio.y[int(np.argmax(levels))])
    if side == "unknown":
        return Check("polarity", "unknown", by_db, "dB", "The polarity cannot be told: both sides reach equally far.")
    sentence = f"The crests reach {abs(by_db):.1f} dB further {side}; alone, one microphone may have either polarity."
    return Check("polarity", "unknown", by_db, "dB", sentence)


def _check_compressor(audio: Audio) -> Check:
    threshold, ratio = LIMITS["compressor_threshold"].value, LIMITS["compressor_ratio"].value
    done = compress(audio, threshold_dbfs=threshold, ratio=ratio)
    sentence = (
        f"A compressor at {ratio:.0f}:1 above {threshold:.0f} dBFS would take off {done.typical_db:.1f} dB as a rule "
        f"and {done.most_db:.1f} dB at most; record without it."
    )
    return Check("compressor", "good", done.most_db, "dB", sentence)


def check_low_cut(lowest_hz: float) -> Check:
    """The low cut that a part with this lowest note leaves room for."""
    corner_hz = LIMITS["low_cut"].value * lowest_hz
    if corner_hz < LIMITS["low_cut_least"].value:
        sentence = f"Leave the low cut off: the part goes down to {lowest_hz:.0f} Hz."
        return Check("low cut", "good", None, "Hz", sentence)
    sentence = f"A low cut may be set at {corner_hz:.0f} Hz or below; the part goes down to {lowest_hz:.0f} Hz."
    return Check("low cut", "good", corner_hz, "Hz", sentence)
