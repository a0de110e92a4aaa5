"""How a proof says what a delivered file is, and what is wrong with it."""

from __future__ import annotations

from obbligato.job.packing import PlannedFile
from obbligato.music.grid import Grid
from obbligato.sound.differing import SMALLEST_GAIN_DB, Differing
from obbligato.units import amplitude_to_db, seconds_to_clock


def kind_words(file: PlannedFile) -> str:
    """What a file is to be."""
    if file.kind == "stem":
        return "what was chosen" if file.key == "stem:" else "what was made for it"
    if "SessionFacts" in file.key:
        return "the sheet of session facts"
    return {
        "mix": "the mix as made",
        "pips": "the sync reference",
        "tempo": "the tempo map",
        "line": "the line",
        "paper": "the part of the newest line",
    }[file.kind]


def deviation_words(difference: Differing, grid: Grid, sr: int, meant: str) -> str:
    """How a sound differs from what it was to be, with place and size; begins after the file's name."""
    turned = "turned over in polarity" if difference.inverted else ""
    louder = ""
    if abs(difference.gain_db) >= SMALLEST_GAIN_DB:
        louder = f"{abs(difference.gain_db):.2f} dB {'louder' if difference.gain_db > 0 else 'softer'}"
    if difference.kind == "level":
        return f"is {meant}, but {' and '.join(filter(None, (turned, louder)))}."
    if difference.kind == "moved":
        ms = 1e3 * abs(difference.late_samples) / sr
        where = f"{ms:.1f} ms ({count(abs(difference.late_samples), 'sample')}) "
        where += "late" if difference.late_samples > 0 else "early"
        return f"is {meant}, but {' and '.join(filter(None, (where, turned)))}."
    if difference.kind == "silent":
        return "is silent."
    span = f"from {place_words(difference.first_s, grid)} to {place_words(difference.last_s, grid)}"
    what = {
        "cut": f"lacks {meant} {span}: something was cut off there.",
        "added": f"holds sound that was not put there, {span}.",
    }.get(difference.kind, f"is not {meant}: it differs {span}")
    if difference.kind == "other":
        what += f", by up to {float(amplitude_to_db(difference.worst)):.0f} dBFS."
    return what


def place_words(seconds: float, grid: Grid) -> str:
    """A moment as time and bar."""
    bar, beat = grid.spoken_position(float(grid.sec_to_beat(seconds)))
    return f"{seconds_to_clock(seconds)} (bar {bar} beat {beat:.1f})"


def count(number: int, word: str) -> str:
    """`1 frame`, `2 frames`."""
    return f"{number} {word}{'' if number == 1 else 's'}"
