"""What the page says of a choice among takes: names of notes, seams, and how things stand, as sentences."""

from __future__ import annotations

from collections.abc import Sequence

from obbligato.job.sheet import take_name
from obbligato.job.store import JobFolder
from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Grid
from obbligato.music.harmony import key_fifths, parse_key, transpose_key
from obbligato.music.instruments import Instrument
from obbligato.music.spans import KeySpan, Mode
from obbligato.music.spelling import spell
from obbligato.takes.readings import PhraseSpan, ScoreParts, Seam, TakeReading, TimedLine
from obbligato.units import seconds_to_clock

_SMALL_DB, _SMALL_CENTS, _SMALL_TONE_DB = 0.5, 3.0, 1.5
"""Steps that are not worth a word; common practice, no source."""


def note_names(line: TimedLine, song: SongMap, instrument: Instrument) -> tuple[list[str], list[str]]:
    """Every note of a line by name and octave, as written and as sounding, each spelled in the key of its place."""
    up = -instrument.transposition.semitones
    return _names(line, song, up), _names(line, song, 0)


def _names(line: TimedLine, song: SongMap, up: int) -> list[str]:
    keys = [_signature(_key_at(song.keys, note.start_s), up) for note in line.notes]
    return [str(spelling) for spelling in spell([note.midi + up for note in line.notes], keys)]


def _key_at(keys: tuple[KeySpan, ...], at_s: float) -> KeySpan | None:
    return next((key for key in reversed(keys) if key.start_s <= at_s), keys[0] if keys else None)


def _signature(key: KeySpan | None, up: int) -> tuple[int, Mode]:
    if key is None:
        return 0, "major"
    tonic, mode = parse_key(transpose_key(key.tonic, key.mode, up))
    return key_fifths(tonic, mode), mode


def phrase_bars(line: TimedLine, phrase: PhraseSpan, grid: Grid) -> tuple[int, int]:
    """The bars in which a phrase's first and last notes start."""
    first, last = (line.notes[i].start_s for i in (phrase.first_note, phrase.last_note))
    return grid.position_at(first).bar, grid.position_at(last).bar


MENDS = {
    "wrong_rate": "rate",
    "lost_block": "steps",
    "drift": "clock",
    "click_bleed": "bleed",
    "hum": "hum",
}
"""What can be done about a fault of a whole take."""


def offered_mends(take: TakeReading, mended: Sequence[str]) -> list[str]:
    """The mends that a take's faults call for and that are not made yet."""
    flags = {*take.flags, *(flag for phrase in take.phrases for flag in phrase.flags)}
    return [mend for flag, mend in MENDS.items() if flag in flags and mend not in mended]


def lost_words(parts: ScoreParts) -> str:
    """What points of a phrase's score were lost for, most first.

    >>> lost_words(ScoreParts(time=12.4, tune=3.0))
    'Lost 12 points for time, 3 for tune.'
    >>> lost_words(ScoreParts())
    ''
    """
    lost = sorted(((points, name) for name, points in vars(parts).items() if points >= 0.5), reverse=True)
    if not lost:
        return ""
    (first, name), *rest = lost
    said = [f"{first:.0f} points for {name}", *(f"{points:.0f} for {other}" for points, other in rest)]
    return f"Lost {', '.join(said)}."


def seam_sentence(seam: Seam) -> str:
    """Where a join lies and what steps across it.

    >>> seam_sentence(Seam(61.25, "takes/take_02.wav", "takes/take_05.wav", 30.0, -1.24, 1.0, 4.0))
    'At 1:01.2, from take 2 to take 5 over 30 ms: 1.2 dB softer, the room 4.0 dB louder.'
    """
    steps = [
        _step(seam.level_step_db, _SMALL_DB, "dB", "louder", "softer"),
        _step(seam.pitch_step_cents, _SMALL_CENTS, "cents", "higher", "lower"),
    ]
    room = _step(seam.noise_step_db, _SMALL_DB, "dB", "louder", "softer")
    heard = [step for step in steps if step] + ([f"the room {room}"] if room else [])
    takes = f"from {take_name(seam.from_take)} to {take_name(seam.to_take)}"
    tone = _step(seam.tone_step_db or 0.0, _SMALL_TONE_DB, "dB", "brighter", "darker")
    heard += [tone] if tone else []
    heard += ["its wave turned upside down"] if seam.polarity == "turned" else []
    what = ", ".join(heard) or "the same in level, pitch and room"
    law = {"equal_power": ", at equal power", "equal_gain": ", at equal gain"}.get(seam.law, "")
    return f"At {seconds_to_clock(seam.at_s)[:-2]}, {takes} over {seam.fade_ms:.0f} ms{law}: {what}."


def _step(size: float, small: float, unit: str, more: str, less: str) -> str:
    if abs(size) < small:
        return ""
    digits = 1 if unit == "dB" else 0
    return f"{abs(size):.{digits}f} {unit} {more if size > 0 else less}"


def state_sentence(folder: JobFolder, state: str, unheard: list[int]) -> str:
    """What there is to do, or that there is nothing."""
    job = folder.job
    if not job.takes_in_use:
        return (
            "There are no takes yet: drop them here." if not job.takes else "Every take is left out; use one again."
        )
    if unheard and not job.lines:
        return "There is no line; read the takes to compare them with one another, or choose the one take to use."
    if unheard and state != "none":
        listed = _listed(unheard)
        return f"{listed} {'has' if len(unheard) == 1 else 'have'} not been read yet; read and choose."
    if unheard:
        return "The takes have not been read yet; read and choose."
    if state == "fresh":
        return "The comp is rendered as chosen here."
    return "The comp is not yet rendered as chosen here." if state == "stale" else "No comp has been rendered yet."


def _listed(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return f"Take {numbers[0]}"
    return f"Takes {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"
