"""The mock-up: the line on the guide's time base, and the line with the guide at a level one can judge it by."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.music.instruments import Instrument
from obbligato.music.line import Line
from obbligato.play.phrasing import phrased
from obbligato.play.soundfont import render_notes
from obbligato.sound.audio import Audio
from obbligato.sound.loudness import ABSOLUTE_GATE_LUFS, RELATIVE_GATE_LU, integrated_lufs, momentary_lufs
from obbligato.sound.peaks import true_peak_dbtp
from obbligato.sound.shape import gain, mix
from obbligato.units import A4_HZ, SILENCE_DB, db_to_power, power_to_db, seconds_to_clock

USUAL_PLACE_LU = -6.0
"""Where an added line usually ends up against the rest of a mix (common practice, no source)."""

DEFAULT_LINE_DB = USUAL_PLACE_LU + 3.0
"""A little above that place, so that the client can judge the notes (common practice, no source)."""

CEILING_DBTP = -1.0
"""Highest true peak of what is sent; EBU R 128 sets it for programmes (from memory)."""


@dataclass(frozen=True)
class Blend:
    """Guide and line together.

    Attributes
    ----------
    audio
        The sum, on the guide's time base.
    line
        The line alone, at the level it has in the sum.
    line_db
        Loudness of the line against the guide's in the places where the line sounds, in LU.
    lowered_db
        By how much guide and line were turned down together to keep the peaks below `CEILING_DBTP`; 0 if not.
    """

    audio: Audio
    line: Audio
    line_db: float
    lowered_db: float

    @property
    def sentence(self) -> str:
        """What was done to the levels, for the player."""
        side = "above" if self.line_db > 0 else "below"
        where = "as loud as" if self.line_db == 0 else f"{abs(self.line_db):.1f} LU {side}"
        if self.lowered_db > 0:
            level = f"both were turned down by {self.lowered_db:.1f} dB together so that nothing clips"
        else:
            level = "the guide keeps its own level"
        return f"Where the line plays it is {where} the guide; {level}."


def render_line(
    line: Line,
    grid: Grid,
    instrument: Instrument,
    *,
    n_samples: int,
    sr: int,
    a4_hz: float = A4_HZ,
    soundfont: Path | None = None,
) -> Audio:
    """Play a line as it was performed, on the guide's time base, in the song's own tuning; one channel.

    How loud it is and how it is phrased, its marks say where it has any (`play.phrasing`). Each note is let go at the
    latest when the next begins, as on an instrument that sounds one note at a time.

    Raises
    ------
    InputError
        When a note begins before the guide's first sample or after its last, or the SoundFont cannot be read.
    """
    starts_s = grid.beat_to_sec([note.onset_beat for note in line.notes])
    ends_s = grid.beat_to_sec([note.end_beat for note in line.notes])
    ends_s[:-1] = np.minimum(ends_s[:-1], starts_s[1:])
    length_s = n_samples / sr
    for note, start_s in zip(line.notes, starts_s, strict=True):
        if not 0.0 <= start_s < length_s:
            bar, beat = grid.beat_to_position(note.onset_beat)
            side = "before the guide begins" if start_s < 0 else "after the guide has ended"
            raise InputError(
                f"The note in bar {bar}, beat {beat:.2f} lies {side} (at {seconds_to_clock(float(start_s))}); "
                "check where the line starts."
            )
    sounding = phrased(line, instrument, starts_s.tolist(), ends_s.tolist())
    return render_notes(
        sounding.notes,
        program=instrument.gm_program,
        n_samples=n_samples,
        sr=sr,
        a4_hz=a4_hz,
        soundfont=soundfont,
        bends=sounding.bends,
    )


def blend(guide: Audio, line_audio: Audio, *, line_db: float = DEFAULT_LINE_DB) -> Blend:
    """Put the line `line_db` above (below 0: below) the guide by loudness, measured where the line sounds.

    Both loudnesses are means over the same 400 ms windows: those in which the line passes the two gates of BS.1770-4
    (-70 LUFS, and 10 LU below its own mean). Where the guide rests under the whole line, its loudness as a whole is
    taken. The guide keeps its level unless the sum would pass `CEILING_DBTP`; then both are turned down together.

    Raises
    ------
    InputError
        When one of the two is silent, or their rates or lengths differ.
    """
    if guide.sr != line_audio.sr or guide.n_samples != line_audio.n_samples:
        raise InputError("Guide and line must have one rate and one length to be blended; render the line anew.")
    guide_lufs, line_lufs = _loudness_where_line_sounds(guide, _as_wide_as(guide, line_audio))
    line = gain(line_audio, guide_lufs + line_db - line_lufs)
    total = mix([guide, line])
    lowered_db = max(0.0, true_peak_dbtp(total) - CEILING_DBTP)
    if lowered_db > 0:
        total, line = gain(total, -lowered_db), gain(line, -lowered_db)
    return Blend(total, line, line_db, lowered_db)


def _as_wide_as(guide: Audio, line: Audio) -> Audio:
    """The line as it enters the sum: a single channel goes to every channel of the guide, and counts there."""
    return Audio(np.repeat(line.y, guide.channels, axis=0), line.sr) if line.channels == 1 else line


def _loudness_where_line_sounds(guide: Audio, line: Audio) -> tuple[float, float]:
    """Loudness of guide and line, in LUFS, over the windows in which the line sounds."""
    line_windows, guide_windows = momentary_lufs(line), momentary_lufs(guide)
    audible = line_windows > ABSOLUTE_GATE_LUFS
    if not audible.any():
        raise InputError("The line is silent, so there is nothing to blend; check its notes and the SoundFont.")
    sounding = audible & (line_windows > _energy_mean(line_windows[audible]) + RELATIVE_GATE_LU)
    guide_lufs = _energy_mean(guide_windows[sounding])
    if guide_lufs <= ABSOLUTE_GATE_LUFS:
        guide_lufs = integrated_lufs(guide)
    if guide_lufs <= SILENCE_DB:
        raise InputError("The guide is silent, so the line cannot be set against it; check the guide.")
    return guide_lufs, _energy_mean(line_windows[sounding])


def _energy_mean(lufs: NDArray[np.float64]) -> float:
    return float(power_to_db(np.mean(db_to_power(lufs))))
