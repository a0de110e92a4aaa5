"""What the chart says in sentences, and the questions it asks where listening was not sure."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

from obbligato.job.correcting import tempo_by_hand
from obbligato.job.model import Corrections, Doubted
from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Meter
from obbligato.music.harmony import pitch_class, tonic_name, transpose_key
from obbligato.music.instruments import Instrument
from obbligato.music.spans import KeySpan, Mode
from obbligato.page.chart_words import UNSURE_BELOW, map_sentences

_SIGNATURES = ("4/4", "3/4", "2/4", "6/8", "12/8", "9/8", "5/4")
_OTHER_METERS = 3


class Answer(BaseModel):
    """What can be answered, and the correction that it makes."""

    label: str
    correction: dict[str, Any]


class Question(BaseModel):
    """Something that only the player's ear can settle."""

    about: Doubted
    text: str
    choices: list[Answer]


def told(song: SongMap, fixes: Corrections, *, whole: bool) -> list[str]:
    """What was found, a sentence each; with only the tempo known, what concerns it."""
    sentences = map_sentences(song, tempo_by_hand=tempo_by_hand(song, fixes))
    return sentences if whole else sentences[:3]


def asked(song: SongMap, instrument: Instrument) -> list[Question]:
    """The questions that are open, the most far-reaching first."""
    questions = []
    if song.tempo.confidence < UNSURE_BELOW:
        questions.append(_about_tempo(song))
    if song.meter.confidence < UNSURE_BELOW:
        questions.append(_about_meter(song))
    doubtful = next((key for key in song.keys if key.confidence < UNSURE_BELOW), None)
    if doubtful is not None:
        questions.append(_about_key(song, doubtful, instrument))
    return questions


def _about_tempo(song: SongMap) -> Question:
    bpm, unit = song.tempo.bpm, song.meter.beat_unit
    return Question(
        about="tempo",
        text=f"Do you count {bpm:.1f} {unit}s a minute here? Tap your foot to it; this was not sure.",
        choices=[Answer(label=f"Yes, {bpm:.1f}", correction={"confirmed": ["tempo"]}), *_other_counts(song)],
    )


def _other_counts(song: SongMap) -> list[Answer]:
    """Twice and half as fast, and the likeliest other count of a song with one tempo."""
    bpm, steady = song.tempo.bpm, song.tempo.steady
    answers = [
        Answer(label=f"Twice as fast, {2 * bpm:.1f}", correction={"double": True}),
        Answer(label=f"Half as fast, {bpm / 2:.1f}", correction={"halve": True}),
    ]
    others = (other for other in song.tempo.alternatives if not {round(other / bpm, 2)} & {2.0, 0.5})
    likeliest = next(others, None) if steady else None
    if likeliest is not None:
        answers.append(Answer(label=f"Otherwise, {likeliest:.1f}", correction={"bpm": likeliest}))
    return answers


def _about_meter(song: SongMap) -> Question:
    heard = Meter.from_unit_name(song.meter.beats_per_bar, song.meter.beat_unit)
    others = [text for text in _SIGNATURES if Meter.from_signature(text).compound == heard.compound]
    others = [text for text in others if text != str(heard)][:_OTHER_METERS]
    return Question(
        about="meter",
        text=f"Are there {heard.beats_per_bar} {heard.beat_unit}s in a bar ({heard})? This was not sure.",
        choices=[
            Answer(label=f"Yes, {heard}", correction={"confirmed": ["meter"]}),
            *(Answer(label=f"No, {text}", correction={"meter": text}) for text in others),
        ],
    )


def _about_key(song: SongMap, key: KeySpan, instrument: Instrument) -> Question:
    """The key heard, or the one with the same notes and the other mode."""
    grid = song.to_grid()
    bar = round(float(grid.sec_to_beat(key.start_s)) / grid.meter.beats_per_bar) + 1
    first = key is song.keys[0]
    other_mode: Mode = "minor" if key.mode == "major" else "major"
    other = tonic_name(pitch_class(key.tonic) + (9 if key.mode == "major" else 3), other_mode)
    up = -instrument.transposition.semitones
    written = f" (written {transpose_key(key.tonic, key.mode, up)} {key.mode})" if up else ""
    where = "" if first else f" from bar {bar} on"
    from_bar = 1 if first else bar
    return Question(
        about="keys",
        text=f"Is the sounding key {key.tonic} {key.mode}{written}{where}? This was not sure.",
        choices=[
            Answer(label=f"Yes, {key.tonic} {key.mode}", correction={"confirmed": ["keys"]}),
            Answer(
                label=f"No, {other} {other_mode}",
                correction={"keys": [f"{from_bar}={other} {other_mode}"]},
            ),
        ],
    )
