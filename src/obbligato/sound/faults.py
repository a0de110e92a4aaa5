"""What a player should know about a file before trusting it, one sentence each."""

from __future__ import annotations

import numpy as np

from obbligato.sound.audio import Audio, Samples
from obbligato.sound.formats import FileFormat
from obbligato.sound.measures import band_levels_db, inner_product, level_dbfs, spectrum_edge
from obbligato.units import amplitude_to_db

NOTHING_DBFS = -80.0
"""Common practice, no source, as are all limits here: this is the noise of a good room at a low gain."""

SAME_BELOW_DB = 60.0
INVERTED_CORRELATION = -0.8
LOUD_LUFS = -9.0
OVER_DBTP = 0.1
ABRUPT_BELOW_PEAK_DB = 40.0
ABRUPT_S = 0.0005
LONG_LEAD_S = 0.5
EDGE_DROP_DB = 15.0
LOSSY_EDGE_HZ = (14000.0, 19600.0)
"""MP3 at 128 to 192 kbit/s ends between 16 and 19.5 kHz (seen with LAME); an edge nearer to 20 kHz may be a
resampler's."""

STEPS_AT_ONCE = 1 << 16
LOW_RATE_EDGE_HZ = (19000.0, 24500.0)
LOWEST_HIGH_RATE = 80000
LOWEST_FULL_RATE = 40000


def channel_faults(audio: Audio) -> list[str]:
    """Silence, a dead channel, the same sound twice, or one channel upside down."""
    levels = [level_dbfs(y) for y in audio.y]
    if max(levels, default=NOTHING_DBFS) <= NOTHING_DBFS:
        return ["The file is silent: nothing in it is above -80 dBFS; ask for another bounce."]
    dead = [i for i, level in enumerate(levels, start=1) if level <= NOTHING_DBFS]
    if dead:
        which = " and ".join(map(str, dead))
        return [f"Channel {which} of {audio.channels} is silent; ask whether half of the music is missing."]
    if audio.channels != 2:
        return []
    left, right = audio.y
    if level_dbfs(left - right) < max(levels) - SAME_BELOW_DB:
        return ["Both channels are the same: this is a mono file in stereo clothing, so nothing can be told by side."]
    powers = inner_product(left, left) * inner_product(right, right)
    correlation = inner_product(left, right) / float(np.sqrt(powers))
    if correlation < INVERTED_CORRELATION:
        return [
            f"The channels are opposite in polarity (correlation {correlation:.2f}): played on one speaker the music "
            "nearly vanishes; ask the client to turn one channel over."
        ]
    return []


def level_faults(audio: Audio, *, clipped: int, lufs: float, true_peak_dbtp: float) -> list[str]:
    """Clipping, and a level that leaves no room."""
    found = []
    if clipped:
        found.append(
            f"{clipped} samples are clipped (flat tops); unless this is a master, ask for a bounce with lower level."
        )
    if lufs > LOUD_LUFS:
        found.append(
            f"The file is very loud ({lufs:.1f} LUFS, true peak {true_peak_dbtp:+.1f} dBTP), like a finished master; "
            "turn it down before adding a part, or ask for the mix without its limiter."
        )
    elif true_peak_dbtp > OVER_DBTP:
        found.append(
            f"The true peak is {true_peak_dbtp:+.1f} dBTP: between the samples, or after decoding, the sound passes "
            "full scale; turn it down before adding a part."
        )
    return found


def head_faults(lead_s: float, sr: int, duration_s: float) -> list[str]:
    """Silence before the music that must not be cut off."""
    if not LONG_LEAD_S <= lead_s < duration_s:
        return []
    return [
        f"The file begins with {lead_s:.2f} s of silence ({round(lead_s * sr)} samples); leave it there, since "
        "everything is counted from the file's first sample, not from the first sound."
    ]


def end_faults(audio: Audio) -> list[str]:
    """A start or an end in the middle of sound."""
    peak = max(float(np.max(audio.y, initial=0.0)), -float(np.min(audio.y, initial=0.0)))
    peak_db = float(amplitude_to_db(peak))
    if peak_db <= NOTHING_DBFS:
        return []
    n = max(1, round(ABRUPT_S * audio.sr))
    found = []
    if level_dbfs(audio.y[:, :n]) > peak_db - ABRUPT_BELOW_PEAK_DB:
        found.append("The sound is there from the very first sample; ask whether the beginning was cut off.")
    if level_dbfs(audio.y[:, -n:]) > peak_db - ABRUPT_BELOW_PEAK_DB:
        found.append("The file ends in the middle of sound; ask whether the ending was cut off.")
    return found


def form_faults(audio: Audio, form: FileFormat) -> list[str]:
    """What the file claims to be and is not: more bits or a higher rate than it has, or never compressed."""
    found: list[str] = []
    if form.bit_depth is None or level_dbfs(audio.y) <= NOTHING_DBFS:
        return found
    if form.bit_depth >= 24 and _fits_16_bits(audio):
        found.append(
            f"The file has {form.bit_depth} bits, of which only 16 are used; it was made from a 16-bit file."
        )
    if audio.sr < LOWEST_FULL_RATE:
        return found
    levels_db = band_levels_db(audio)
    if audio.sr >= LOWEST_HIGH_RATE:
        edge = spectrum_edge(levels_db, low_hz=LOW_RATE_EDGE_HZ[0], high_hz=LOW_RATE_EDGE_HZ[1])
        if edge is not None and edge.drop_db > EDGE_DROP_DB:
            found.append(
                f"At {audio.sr} Hz there is nothing above {edge.hz / 1000:.0f} kHz; "
                "it was probably made from a file of 44100 or 48000 Hz."
            )
    edge = spectrum_edge(levels_db, low_hz=LOSSY_EDGE_HZ[0], high_hz=LOSSY_EDGE_HZ[1])
    if edge is not None and edge.drop_db > EDGE_DROP_DB:
        found.append(
            f"The sound ends sharply at {edge.hz / 1000:.1f} kHz, as in an MP3 or AAC; this file was probably made "
            "from one, and may start late by that file's delay."
        )
    return found


def delay_faults(form: FileFormat, sr: int) -> list[str]:
    """A lossy file that leaves its start to guesswork."""
    if form.delay_declared is not False:
        return []
    if form.encoder_delay_samples is not None:
        n = form.encoder_delay_samples
        return [
            f"This MP3 does not declare its encoder's delay: everything in it is probably {n} samples "
            f"({1000.0 * n / sr:.1f} ms) late against the client's session; ask for a WAV, or for a click bounced "
            "the same way, before trusting its start."
        ]
    return [
        f"This {form.codec.upper()} file does not declare its encoder's delay: everything in it is probably late, "
        f"usually by 1024 or 2112 samples ({1024000.0 / sr:.1f} or {2112000.0 / sr:.1f} ms); ask for a WAV before "
        "trusting its start."
    ]


def _fits_16_bits(audio: Audio) -> bool:
    return all(_whole_steps(y[i : i + STEPS_AT_ONCE]) for y in audio.y for i in range(0, y.size, STEPS_AT_ONCE))


def _whole_steps(y: Samples) -> bool:
    steps = y * np.float32(32768.0)
    return bool(np.array_equal(steps, np.rint(steps)))
