"""What helps to write for an opening: its chords and scale as the player reads them, and how much room there is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from obbligato.listen.songmap import SongMap
from obbligato.music.harmony import chord_text, key_fifths, key_prefers_flats, note_name, pitch_class, transpose_key
from obbligato.music.instruments import Instrument
from obbligato.music.layers import SCALES
from obbligato.music.spans import KeySpan, Opening, SungNote
from obbligato.music.spelling import spell

_LAST_NOTES = 4
_BEFORE_S = 4.0


@dataclass(frozen=True)
class OpeningHelp:
    """What can be played in an opening; chords, scale and the singer's notes in written pitch.

    Attributes
    ----------
    chords
        In order; a chord held on is named once.
    scale
        Names of the notes of the key in force at its start, from the tonic up; empty where no key is known.
    sung_before
        The singer's last notes before it, in order; None where their notes are not known.
    breaths
        Comfortable breaths at mezzo-forte that fill it; None for an instrument that needs none.
    """

    first_bar: int
    last_bar: int
    beats: float
    seconds: float
    breaths: float | None
    chords: tuple[str, ...]
    sung_before: tuple[str, ...] | None
    scale: tuple[str, ...]


def help_for(
    song: SongMap, instrument: Instrument, sung: Sequence[SungNote] | None = None
) -> tuple[OpeningHelp, ...]:
    """For each opening of the song, in order, what its player can go by; `sung` are the singer's notes, if known."""
    return tuple(_opening_help(opening, song, instrument, sung) for opening in song.openings)


def _opening_help(
    opening: Opening, song: SongMap, instrument: Instrument, sung: Sequence[SungNote] | None
) -> OpeningHelp:
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
        sung_before=None if sung is None else _last_sung(sung, opening, instrument, prefer_flats=flats is not False),
        scale=() if key is None else _scale_names(key, up),
    )


def _last_sung(
    sung: Sequence[SungNote], opening: Opening, instrument: Instrument, *, prefer_flats: bool
) -> tuple[str, ...]:
    """Up to four notes that the singer begins in the last four seconds before the opening, with their octaves."""
    near = [n for n in sung if opening.start_s - _BEFORE_S <= n.start_s < opening.start_s]
    written = [instrument.to_written(note.pitch) for note in near[-_LAST_NOTES:]]
    return tuple(f"{note_name(pitch, prefer_flats=prefer_flats)}{pitch // 12 - 1}" for pitch in written)


def _scale_names(key: KeySpan, up: int) -> tuple[str, ...]:
    """The key's scale, transposed and spelled, without octaves; minor is the natural one."""
    tonic = transpose_key(key.tonic, key.mode, up)
    pitches = [60 + pitch_class(tonic) + step for step in SCALES[key.mode]]
    spelled = spell(pitches, [(key_fifths(tonic, key.mode), key.mode)] * len(pitches))
    return tuple(str(name)[:-1] for name in spelled)
