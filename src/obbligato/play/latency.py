"""The way out and back: how many frames after it is played a sound comes in again, found to the frame.

A maximum-length sequence is played and looked for in the recording by correlation: its autocorrelation is one single
frame high, so that the peak is the delay itself (Rife & Vanderkooy, Transfer-function measurement with maximum-length
sequences, J. Audio Eng. Soc. 37(6), 1989).
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from scipy import signal

from obbligato.errors import InputError
from obbligato.play.recorder import Recorder
from obbligato.play.stream import Device
from obbligato.sound.audio import Samples
from obbligato.sound.files import read_audio
from obbligato.sound.growing import GrowingWav
from obbligato.units import db_to_amplitude

SEQUENCE_BITS = 13
LEVEL_DBFS = -18.0
LEAD_S, LONGEST_S = 0.5, 1.0
"""Silence for the stream to settle, and the longest round trip looked for."""

CLEAR = 12.0
"""The peak stands so many times above the middle of the correlation; chance alone reaches about 6."""

REPEATS = 3
MOST_APART = 1


def calibration_signal(sr: int) -> Samples:
    """Silence, the sequence, and silence for as long as it may take to come back; one channel, shape (n,)."""
    tail = np.zeros(round(LONGEST_S * sr), dtype=np.float32)
    return np.concatenate((np.zeros(round(LEAD_S * sr), dtype=np.float32), _sequence(), tail))


def round_trip_frames(heard: Samples, *, sr: int) -> int:
    """Frames from playing to hearing, in a recording that began together with `calibration_signal`.

    Parameters
    ----------
    heard
        Shape (n,); what follows after the signal is not looked at.

    Raises
    ------
    InputError
        When the signal is not in it.
    """
    lead, longest = round(LEAD_S * sr), round(LONGEST_S * sr)
    sequence = _sequence()
    stretch = heard[lead : lead + longest + len(sequence)].astype(np.float64)
    if len(stretch) < len(sequence):
        raise InputError("The recording of the test signal was cut off; calibrate again.")
    found = np.abs(signal.correlate(stretch, sequence, mode="valid", method="fft"))
    at = int(found.argmax())
    if found[at] <= CLEAR * float(np.median(found)) or not found[at]:
        raise InputError(
            "The test signal did not come back; connect an output to the input with a cable, or hold one headphone "
            "to the microphone, turn it up, and calibrate again."
        )
    return at


def calibrate(device: Device, *, sr: int, block: int, inputs: int, outputs: int) -> int:
    """The round trip in frames: measured three times, the stream opened anew each time, and all must agree.

    Raises
    ------
    InputError
        When the signal does not come back, or the three are more than one frame apart.
    """
    trips = sorted(measure_once(device, sr=sr, block=block, inputs=inputs, outputs=outputs) for _ in range(REPEATS))
    if trips[-1] - trips[0] > MOST_APART:
        shown = ", ".join(f"{1000 * trip / sr:.2f}" for trip in trips)
        raise InputError(
            f"'{device.name}' takes another time out and back whenever it is opened ({shown} ms); choose the device "
            "itself in place of a mixer of the system, or leave the cable in and record with --measure-each."
        )
    return trips[REPEATS // 2]


def measure_once(device: Device, *, sr: int, block: int, inputs: int, outputs: int) -> int:
    """The round trip of one opened stream, in frames."""
    sound = np.repeat(calibration_signal(sr)[:, None], outputs, axis=1)
    with tempfile.TemporaryDirectory() as scratch:
        file = Path(scratch) / "calibration.wav"
        recorder = Recorder(device, sound, GrowingWav(file, sr=sr, channels=inputs), block=block)
        recorder.start()
        if recorder.wait().ended != "end":
            raise InputError(f"'{device.name}' stopped during the test signal; look at its cable and try again.")
        return round_trip_frames(read_audio(file).mono(), sr=sr)


def _sequence() -> Samples:
    bits, _ = signal.max_len_seq(SEQUENCE_BITS)
    return np.asarray((2.0 * bits - 1.0) * db_to_amplitude(LEVEL_DBFS), dtype=np.float32)
