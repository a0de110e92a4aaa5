"""What goes to the headphones: guide, click, mock-up and oneself, each at a stated level, under one ceiling."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import signal

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.sound.loudness import OFFSET_DB, integrated_lufs, k_filter
from obbligato.sound.peaks import true_peak_dbtp
from obbligato.sound.shape import gain, mix
from obbligato.units import SILENCE_DB, power_to_db

COMFORTABLE_LUFS = -20.0
"""A guide louder than this is turned down to it: 10 to 12 dB for masters of -10 to -8 LUFS (common practice)."""

CLICK_ABOVE_GUIDE_DB = 2.0
CLICK_WINDOW_S = 0.1
"""Hearing sums up loudness over 100 to 200 ms (textbooks of psychoacoustics; from memory)."""

SELF_ABOVE_GUIDE_DB = 3.0
"""Who hears too little of themselves plays too loud and out of tune (common practice, no source)."""

CEILING_DBTP = -6.0

NIOSH_LIMIT_DBA, NIOSH_MINUTES, NIOSH_EXCHANGE_DB = 85.0, 480.0, 3.0
"""Recommended exposure limit of NIOSH (publication 98-126, 1998): 85 dBA for 8 hours, half the time per 3 dB."""

HEARING_CAUTION = (
    "This program cannot know how loud your headphones are: start with the volume down, and keep it as low as lets "
    "you play in tune and in time. As a guide, NIOSH (USA) recommends no more than 85 dBA over 8 hours a day, and "
    "half the time for every 3 dB more: 88 dBA for 4 hours, 94 dBA for 1 hour, 100 dBA for 15 minutes; your own "
    "instrument counts too. Rest your ears between takes. Ringing or dull hearing is a sign to stop. Rules where you "
    "live may differ and come first; for advice about your hearing ask an audiologist."
)


StemName = Literal["guide", "click", "mock-up", "self"]


@dataclass(frozen=True)
class Stem:
    """One of the sounds in the headphones.

    Attributes
    ----------
    name
        guide, click, mock-up or self.
    gain_db
        All that was done to its level, the lowering of the whole mix included.
    lufs
        Its loudness in the headphones; of the click, that of its loudest 100 ms.
    """

    name: StemName
    gain_db: float
    lufs: float


@dataclass(frozen=True)
class HeadphoneMix:
    """A headphone mix and what was done to the levels.

    Attributes
    ----------
    audio
        All stems, on the guide's time base.
    guide_db, click_db
        Gain given to guide (and line), and to the click.
    lowered_db
        By how much the sum was turned down to keep below the ceiling; 0 if not.
    stems
        What is in the mix, and how loud.
    """

    audio: Audio
    guide_db: float
    click_db: float
    lowered_db: float
    stems: tuple[Stem, ...] = ()

    @property
    def sentence(self) -> str:
        """The levels in words."""
        guide = f"turned down by {-self.guide_db:.1f} dB" if self.guide_db < 0 else "left at its level"
        text = f"In the headphones the guide is {guide}, with the click just above it."
        if self.lowered_db > 0:
            text += f" All of it was turned down by {self.lowered_db:.1f} dB more to stay below the ceiling."
        return text


def headphone_mix(
    guide: Audio,
    click: Audio,
    line: Audio | None = None,
    *,
    guide_db: float | None = None,
    click_above_guide_db: float = CLICK_ABOVE_GUIDE_DB,
    line_db: float = 0.0,
    mine: Audio | None = None,
) -> HeadphoneMix:
    """Mix for playing along; the files themselves stay as they are.

    The click's loudest 100 ms lie `click_above_guide_db` above the guide's loudness, both K-weighted. Where the sum
    would pass `CEILING_DBTP`, all of it is turned down.

    Parameters
    ----------
    line
        The line at the level it has in the mock-up; it is turned down with the guide.
    guide_db
        Gain of the guide; usually what brings it down to -20 LUFS, and never more than 0 dB.
    line_db
        Gain of the line besides.
    mine
        The player's own sound, an earlier take, put 3 LU above the guide. Live sound gets `self_gain_db`.

    Raises
    ------
    InputError
        When the guide is to be made louder, or rates or lengths differ.
    """
    if guide_db is not None and guide_db > 0:
        raise InputError(f"guide_db={guide_db}: the guide is only turned down in the headphones; give 0 or less.")
    guide_lufs = integrated_lufs(guide)
    if guide_db is None:
        guide_db = min(0.0, COMFORTABLE_LUFS - guide_lufs)
    heard_lufs = guide_lufs + guide_db if guide_lufs > SILENCE_DB else COMFORTABLE_LUFS
    click_lufs = _loudest_lufs(click) + float(power_to_db(guide.channels))
    click_db = heard_lufs + click_above_guide_db - click_lufs if click_lufs > SILENCE_DB / 2 else 0.0
    parts: list[tuple[StemName, Audio, float, float]] = [
        ("guide", guide, guide_db, guide_lufs),
        ("click", click, click_db, click_lufs),
    ]
    if line is not None:
        parts.append(("mock-up", line, guide_db + line_db, integrated_lufs(line)))
    if mine is not None:
        parts.append(("self", mine, self_gain_db(mine, guide_lufs=heard_lufs), integrated_lufs(mine)))
    total = mix([sound for _, sound, _, _ in parts], gains_db=[db for _, _, db, _ in parts])
    lowered_db = max(0.0, true_peak_dbtp(total) - CEILING_DBTP)
    stems = tuple(Stem(name, db - lowered_db, lufs + db - lowered_db) for name, _, db, lufs in parts)
    return HeadphoneMix(gain(total, -lowered_db) if lowered_db else total, guide_db, click_db, lowered_db, stems)


def self_gain_db(playing: Audio, *, guide_lufs: float = COMFORTABLE_LUFS) -> float:
    """Gain that puts the player's own sound 3 LU above the guide as it is heard; 0 dB for silence.

    Parameters
    ----------
    playing
        Some seconds of it at the recording level, such as the recording of the ready check.
    guide_lufs
        Loudness of the guide in the headphones.
    """
    lufs = integrated_lufs(playing)
    return guide_lufs + SELF_ABOVE_GUIDE_DB - lufs if lufs > SILENCE_DB / 2 else 0.0


def safe_minutes(level_dba: float) -> float:
    """Minutes a day at a level at the ear that use up the exposure recommended by NIOSH.

    >>> safe_minutes(94.0)
    60.0
    """
    return float(NIOSH_MINUTES / 2.0 ** ((level_dba - NIOSH_LIMIT_DBA) / NIOSH_EXCHANGE_DB))


def _loudest_lufs(click: Audio) -> float:
    """K-weighted loudness of the loudest 100 ms."""
    window = min(click.n_samples, round(CLICK_WINDOW_S * click.sr))
    if window == 0:
        return SILENCE_DB
    b, a = k_filter(click.sr)
    power = np.square(signal.lfilter(b, a, click.y.astype(np.float64), axis=-1)).sum(axis=0)
    sums = np.concatenate(([0.0], np.cumsum(power)))
    loudest = float((sums[window:] - sums[:-window]).max()) / window
    return OFFSET_DB + float(power_to_db(loudest))
