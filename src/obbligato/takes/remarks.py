"""What is to be said about a take as a whole, in plain sentences: size, cause and remedy."""

from __future__ import annotations

from collections.abc import Set

import numpy as np

from obbligato.takes.measure import TakeMeasures
from obbligato.takes.place import Placement
from obbligato.takes.readings import TakeTiming, TimedLine
from obbligato.takes.stacking import stacked_words
from obbligato.units import seconds_to_clock


def remarks(measures: TakeMeasures, timing: TakeTiming, line: TimedLine, flags: Set[str]) -> tuple[str, ...]:
    """Sentences about the clock, lost sound, hum, bleed, noise suppression and the microphone.

    Parameters
    ----------
    flags
        All flags of the take's phrases.
    """
    sentences = [_clock_words(measures.placement, line), _step_words(timing), *_sound_words(measures, flags)]
    return tuple(sentence for sentence in sentences if sentence)


def flags_of_the_clock(placement: Placement) -> tuple[str, ...]:
    """What is wrong with a take's clock, as single words."""
    found = {
        "wrong_rate": placement.true_sr is not None,
        "drift": placement.true_sr is None and placement.drift_ppm != 0.0,
        "lost_block": bool(placement.losses),
    }
    return tuple(flag for flag, present in found.items() if present)


def _clock_words(placement: Placement, line: TimedLine) -> str:
    """What was found of the clock, and what it costs to join the take at one offset."""
    if not placement.clock_sentence:
        return ""
    notes_s = np.array([note.start_s for note in line.notes])
    apart_ms = 1e3 * float(np.ptp(placement.to_take_s(notes_s) - notes_s))
    return f"{placement.clock_sentence} Joined as it is, at one offset, it lies up to {apart_ms / 2:.0f} ms off."


def _step_words(timing: TakeTiming) -> str:
    if timing.step_at_s is None:
        return ""
    lost = timing.step_ms < 0
    return (
        f"From {seconds_to_clock(timing.step_at_s)} on everything is {abs(timing.step_ms):.0f} ms "
        f"{'early' if lost else 'late'}, as when {'a block of sound is lost' if lost else 'sound is put in'}."
    )


def _sound_words(measures: TakeMeasures, flags: Set[str]) -> list[str]:
    sound, sentences = measures.sound, []
    levels = measures.level_db[np.isfinite(measures.level_db)]
    playing_dbfs = float(np.median(levels)) if levels.size else 0.0
    if "hum" in flags:
        sentences.append(
            f"Mains hum of {sound.hum_hz:.0f} Hz at {sound.hum_dbfs:.0f} dBFS, "
            f"{playing_dbfs - sound.hum_dbfs:.0f} dB under the playing."
        )
    if ("click_bleed" in flags or sound.click_known) and sound.click_dbfs is not None:
        sentences.append(stacked_words(sound.click_dbfs, playing_dbfs))
    if "suppressed" in flags and sound.silence_dbfs is not None:
        sentences.append(
            f"After the notes the sound drops at once to {max(sound.silence_dbfs, -120.0):.0f} dBFS, "
            "as when noise suppression or a gate is on; it eats the ends of notes."
        )
    if "narrow" in flags and sound.narrow_hz is not None:
        sentences.append(
            f"There is nothing above {sound.narrow_hz / 1e3:.1f} kHz, as from a telephone, a headset "
            "or the wrong input."
        )
    return sentences
