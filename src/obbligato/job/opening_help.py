"""What helps to write for an opening: its chords and scale as the player reads them, and how much room there is."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from obbligato.listen.songmap import SongMap
from obbligato.music.harmony import chord_text, key_fifths, key_prefers_flats, pitch_class, transpose_key
from obbligato.music.instruments import Instrument
from obbligato.music.layers import SCALES
from obbligato.music.spans import KeySpan, Opening
from obbligato.music.spelling import spell


@dataclass(frozen=True)
class OpeningHelp:
    """What can be played in an opening; chords and scale in written pitch.

    Attributes
    ----------
    chords
        In order; a chord held on is named once.
    scale
        Names of the notes of the key in force at its start, from the tonic up; empty where no key is known.
    breaths
        Comfortable breaths at mezzo-forte that fill it; None for an instrument that needs none.
    """

    first_bar: int
    last_bar: int
    beats: float
    seconds: float
    breaths: float | None
    chords: tuple[str, ...]
    scale: tuple[str, ...]


def help_for(song: SongMap, instrument: Instrument) -> tuple[OpeningHelp, ...]:
    """For each opening of the song, in order, what its player can go by."""
    return tuple(_opening_help(opening, song, instrument) for opening in song.openings)


def _opening_help(opening: Opening, song: SongMap, instrument: Instrument) -> OpeningHelp:
    up = instrument.to_written(0)
    seconds = opening.end_s - opening.start_s
    key = next((k for k in song.keys if k.start_s <= opening.start_s < k.end_s), None)
    flats = None if key is None else key_prefers_flats(transpose_key(key.tonic, key.mode, up), key.mode)
    sounding = [c for c in song.chords if c.start_s < opening.end_s and c.end_s > opening.start_s]
    names = [chord_text(c.label, up, prefer_flats=flats) for c in sounding]
    return OpeningHelp(
        first_bar=opening.first_bar,
        last_bar=opening.last_bar,
        beats=opening.beats,
        seconds=seconds,
        breaths=None if instrument.breath_s is None else seconds / instrument.breath_s,
        chords=tuple(name for name, _ in groupby(names)),
        scale=() if key is None else _scale_names(key, up),
    )


def _scale_names(key: KeySpan, up: int) -> tuple[str, ...]:
    """The key's scale, transposed and spelled, without octaves; minor is the natural one."""
    tonic = transpose_key(key.tonic, key.mode, up)
    pitches = [60 + pitch_class(tonic) + step for step in SCALES[key.mode]]
    spelled = spell(pitches, [(key_fifths(tonic, key.mode), key.mode)] * len(pitches))
    return tuple(str(name)[:-1] for name in spelled)
