"""How loud a headphone mix is at the ear, and for how long it may last: an estimate from a data sheet's figures.

From the level of the sound, the sensitivity of the headphones and the voltage of the output at full volume. It leaves
out the seal of the cushions, the ear canal and the instrument itself, so that it can be wrong by 10 dB either way.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from obbligato.errors import InputError
from obbligato.play.phones import NIOSH_LIMIT_DBA, NIOSH_MINUTES, safe_minutes
from obbligato.sound.audio import Audio
from obbligato.units import SILENCE_DB, amplitude_to_db, power_to_db

ASSUMED_DB_PER_VOLT = 110.0
"""Closed headphones lie between about 105 and 115 dB at 1 V (common practice, no source)."""
ASSUMED_VOLTS = 1.0
"""Of a full-scale sine, RMS, at full volume: usual for interfaces and computers (common practice, no source)."""
_FULL_SCALE_SINE_DB = 10.0 * math.log10(2.0)
_SENSIBLE_DB_PER_VOLT = (70.0, 145.0)
_SEGMENT = 8192


@dataclass(frozen=True)
class Headphones:
    """Headphones and the output they hang on.

    Attributes
    ----------
    db_per_volt
        Sound pressure level for 1 V.
    volts
        RMS voltage of a full-scale sine at full volume.
    assumed
        Whether nobody stated these figures.
    """

    db_per_volt: float = ASSUMED_DB_PER_VOLT
    volts: float = ASSUMED_VOLTS
    assumed: bool = True


@dataclass(frozen=True)
class Exposure:
    """Estimated A-weighted level at full volume, the minutes a day that NIOSH would allow, and all that in words."""

    level_dba: float
    minutes: float
    sentence: str


def parse_headphones(text: str, *, volts: float = ASSUMED_VOLTS) -> Headphones:
    """Read a sensitivity as it stands in a data sheet.

    >>> round(parse_headphones("96 dB/mW, 80 ohm").db_per_volt, 1)
    107.0
    >>> parse_headphones("112 dB/V").db_per_volt
    112.0

    Raises
    ------
    InputError
        When it is not written so, or not that of headphones.
    """
    number = r"(\d+(?:\.\d+)?)"
    per_volt = re.fullmatch(rf"\s*{number}\s*dB\s*/\s*V\s*", text)
    per_mw = re.fullmatch(rf"\s*{number}\s*dB\s*/\s*mW\s*,?\s*{number}\s*(?:ohms?|Ω|Ohm)\s*", text)
    if per_volt:
        db_per_volt = float(per_volt[1])
    elif per_mw and float(per_mw[2]) > 0.0:
        # 1 V drives 1000 / Z milliwatts into Z ohms.
        db_per_volt = float(per_mw[1]) + float(power_to_db(1000.0 / float(per_mw[2])))
    else:
        raise InputError(f"'{text}' is no sensitivity; write it like '96 dB/mW, 80 ohm' or '112 dB/V'.")
    low, high = _SENSIBLE_DB_PER_VOLT
    if not low <= db_per_volt <= high:
        raise InputError(f"{db_per_volt:.0f} dB at 1 V is not that of headphones ({low:.0f} to {high:.0f}).")
    if volts <= 0.0:
        raise InputError(f"volts={volts}: the output's voltage at full volume must be above 0.")
    return Headphones(db_per_volt, volts, assumed=False)


def exposure(audio: Audio, headphones: Headphones) -> Exposure:
    """Estimate the level of a headphone mix at full volume, and how long a day it may last.

    The level is that of the whole sound, A-weighted, the louder channel. Silence reads `SILENCE_DB`.
    """
    loudest_dbfs = max(a_weighted_dbfs(y.astype(np.float64), audio.sr) for y in audio.y)
    full_db = headphones.db_per_volt + float(amplitude_to_db(headphones.volts)) + _FULL_SCALE_SINE_DB
    level = max(SILENCE_DB, loudest_dbfs + full_db)
    return Exposure(level, safe_minutes(level), _in_words(level, headphones))


def a_weighted_dbfs(y: NDArray[np.float64], sr: int) -> float:
    """A-weighted RMS level of one channel, shape (n_samples,), dBFS, by the curve of IEC 61672-1."""
    if not y.any():
        return SILENCE_DB
    hz, density = signal.welch(y, sr, nperseg=min(_SEGMENT, len(y)), scaling="density")
    return float(power_to_db(np.sum(density * a_weight(hz)) * (hz[1] if len(hz) > 1 else 0.0)))


def a_weight(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Power weight of each frequency, 1 at 1 kHz (IEC 61672-1:2013, annex E; constants from memory)."""
    f2 = np.square(hz)
    shape = 12194.0**2 * f2**2 / ((f2 + 20.6**2) * np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2)) * (f2 + 12194.0**2))
    return np.asarray(np.square(shape) * 10.0**0.2)


def _in_words(level: float, headphones: Headphones) -> str:
    source = (
        f"Assuming headphones of {headphones.db_per_volt:.0f} dB at 1 V and an output of {headphones.volts:g} V "
        "(yours: ___ dB, ___ V)"
        if headphones.assumed
        else f"With headphones of {headphones.db_per_volt:.0f} dB at 1 V and an output of {headphones.volts:g} V"
    )
    if level <= NIOSH_LIMIT_DBA:
        time = (
            f"within the {NIOSH_LIMIT_DBA:.0f} dBA over {NIOSH_MINUTES / 60:.0f} hours that NIOSH recommends at most"
        )
    else:
        time = (
            f"for which NIOSH would allow {_spoken(safe_minutes(level))} a day; {level - NIOSH_LIMIT_DBA:.0f} dB "
            f"less make it {NIOSH_MINUTES / 60:.0f} hours"
        )
    return (
        f"{source}, this mix comes to about {level:.0f} dBA at full volume, {time}. That is an estimate, good to "
        "10 dB, without your instrument, which counts too; the rules where you live and an audiologist come first."
    )


def _spoken(minutes: float) -> str:
    if minutes >= 90.0:
        return f"{minutes / 60.0:.1f} hours"
    return f"{minutes:.0f} minutes" if minutes >= 1.5 else "about a minute or less"
