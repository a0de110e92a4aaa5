"""What a player says about the song, turned into corrections that are kept."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, get_args

from obbligato.errors import InputError
from obbligato.job.correcting import corrected_grid
from obbligato.job.model import (
    ChordCorrection,
    Corrections,
    Doubted,
    KeyCorrection,
    SectionCorrection,
    SingerCorrection,
    WordsCorrection,
)
from obbligato.job.places import Place, parse_clock, parse_place, parse_said, parse_stretch
from obbligato.job.tapping import nearest_beat_s, tapped_beat
from obbligato.listen.songmap import SongMap
from obbligato.music.chord_names import chord_label
from obbligato.music.grid import Grid, Meter
from obbligato.music.harmony import parse_key
from obbligato.units import seconds_to_clock

LONGEST_LETTER = 12
LONGEST_WORDS = 60
MOST_TAPS = 2000
_SAME_PLACE_S = 1e-3
_YES, _NO = ("yes", "y", "sings"), ("no", "n", "rests")

Heard = Callable[[Corrections], SongMap]


@dataclass(frozen=True)
class Statements:
    """One call's worth of corrections, as given; see `mapping.correct`."""

    bpm: float | None = None
    counted_times: float | None = None
    shift_beats: float | None = None
    bar_1: str | None = None
    bar_1_near_s: float | None = None
    meter: str | None = None
    keys: tuple[str, ...] = ()
    taps_s: tuple[float, ...] = ()
    chords: tuple[str, ...] = ()
    sections: tuple[str, ...] = ()
    singer: tuple[str, ...] = ()
    confirmed: tuple[str, ...] = ()
    words: tuple[str, ...] = ()


def stated(fixes: Corrections, said: Statements, heard: Heard) -> Corrections:
    """The corrections with what was said added.

    Parameters
    ----------
    heard
        Gives what was heard; asked only where a place has to be known.

    Raises
    ------
    InputError
        When a statement cannot be read, or names a place outside the song.
    """
    fixes = _with_time(fixes, said, heard)
    if said.keys:
        fixes = fixes.model_copy(update={"keys": _merged_keys(fixes.keys, said.keys)})
    if said.confirmed:
        unknown = set(said.confirmed) - set(get_args(Doubted))
        if unknown:
            raise InputError(f"'{min(unknown)}' cannot be confirmed; name one of {', '.join(get_args(Doubted))}.")
        fixes = fixes.model_copy(update={"confirmed": tuple(sorted({*fixes.confirmed, *said.confirmed}))})
    if said.chords or said.sections or said.singer or said.words:
        song = heard(fixes)
        places = _Places(corrected_grid(song, fixes), song.source.duration_s)
        fixes = fixes.model_copy(
            update={
                "chords": _merged_chords(fixes.chords, said.chords, places),
                "sections": _merged_sections(fixes.sections, said.sections, places),
                "singer": (*fixes.singer, *(_singer(text, places) for text in said.singer)),
                "words": _merged_words(fixes.words, said.words, places),
            }
        )
    return Corrections.model_validate(fixes.model_dump())


def _with_time(fixes: Corrections, said: Statements, heard: Heard) -> Corrections:
    """Tempo, metre and bar 1."""
    changes: dict[str, Any] = {}
    if said.taps_s:
        fixes = _tapped(fixes, said.taps_s, heard)
    if said.bpm is not None:
        Grid.steady(said.bpm, 0.0, Meter())
        changes["bpm"] = said.bpm
    if said.counted_times is not None:
        factor = Fraction(fixes.counted_times or 1) * Fraction(said.counted_times)
        changes["counted_times"] = str(factor) if factor != 1 else None
        if fixes.bpm is not None and said.bpm is None:
            changes["bpm"] = fixes.bpm * said.counted_times
    if said.meter is not None:
        changes["meter"] = str(Meter.from_signature(said.meter))
    if said.bar_1 is not None:
        changes |= {"bar_1_s": parse_clock(said.bar_1), "shift_beats": 0.0}
    elif said.bar_1_near_s is not None:
        so_far = fixes.model_copy(update=changes)
        grid = corrected_grid(heard(so_far), so_far)
        changes |= {"bar_1_s": nearest_beat_s(grid, said.bar_1_near_s), "shift_beats": 0.0}
    if said.shift_beats is not None:
        changes["shift_beats"] = changes.get("shift_beats", fixes.shift_beats) + said.shift_beats
    return fixes.model_copy(update=changes)


def _tapped(fixes: Corrections, taps_s: tuple[float, ...], heard: Heard) -> Corrections:
    """Taps say the tempo anew; bar 1 goes to the tapped beat nearest to where it was."""
    if len(taps_s) > MOST_TAPS:
        raise InputError(f"{len(taps_s)} taps are more than this program reads; tap along for a minute or two.")
    tapped_beat(taps_s)
    anew = fixes.model_copy(
        update={"tapped_s": taps_s, "counted_times": None, "bpm": None, "bar_1_s": None, "shift_beats": 0.0}
    )
    song = heard(anew)
    if max(taps_s) > song.source.duration_s:
        raise InputError(f"A tap at {seconds_to_clock(max(taps_s))} lies after the end of the guide; tap again.")
    before_s = corrected_grid(song, fixes).bar_1_s
    grid = corrected_grid(song, anew)
    bar_1_s = float(grid.beat_to_sec(round(float(grid.sec_to_beat(before_s)))))
    return anew.model_copy(update={"bar_1_s": bar_1_s})


@dataclass(frozen=True)
class _Places:
    """Bars and beats as seconds of the guide, refusing those outside it."""

    grid: Grid
    end_s: float

    def start_s(self, place: Place) -> float:
        beat = place.beat or 1.0
        if not 1.0 <= beat < self.grid.meter.beats_per_bar + 1.0:
            raise InputError(f"Bar {place.bar} has no beat {beat:g}; it has {self.grid.meter.beats_per_bar} beats.")
        at_s = self.grid.bar_to_sec(place.bar, beat)
        if self.grid.bar_to_sec(place.bar + 1) <= 0.0 or at_s >= self.end_s:
            first, last = (self.grid.position_at(seconds).bar for seconds in (0.0, self.end_s))
            raise InputError(f"There is no bar {place.bar} in this song; it has bars {first} to {last}.")
        return max(0.0, at_s)

    def stop_s(self, place: Place) -> float:
        """End of the beat, or of the bar where no beat is named."""
        self.start_s(place)
        stop_s = (
            self.grid.bar_to_sec(place.bar + 1)
            if place.beat is None
            else self.grid.bar_to_sec(place.bar, place.beat + 1.0)
        )
        return min(self.end_s, stop_s)


def _merged_keys(before: tuple[KeyCorrection, ...], said: tuple[str, ...]) -> tuple[KeyCorrection, ...]:
    """A key for the whole song replaces all said before; one from a bar on only what was said at that bar."""
    keys = {key.from_bar: key for key in before}
    for text in said:
        bar, _, name = text.rpartition("=")
        if bar and not re.fullmatch(r"-?\d{1,6}", bar.strip()):
            raise InputError(f"'{text}': write a key as 'Bb major', or from a bar on as '57=Db major'.")
        tonic, mode = parse_key(name)
        if not bar:
            keys = {}
        from_bar = int(bar) if bar else 1
        keys[from_bar] = KeyCorrection(from_bar=from_bar, tonic=tonic, mode=mode)
    return tuple(keys[bar] for bar in sorted(keys))


def _merged_chords(
    before: tuple[ChordCorrection, ...], said: tuple[str, ...], places: _Places
) -> tuple[ChordCorrection, ...]:
    """`12:3=Cm7` sets the chord there; `12:3=` goes back to what was heard there."""
    result = list(before)
    for text in said:
        place, symbol = parse_said(text, example="12:3=Cm7")
        at_s = places.start_s(parse_place(place))
        result = [fix for fix in result if abs(fix.at_s - at_s) > _SAME_PLACE_S]
        if symbol:
            result.append(ChordCorrection(at_s=at_s, label=chord_label(symbol)))
    return tuple(result)


def _merged_sections(
    before: tuple[SectionCorrection, ...], said: tuple[str, ...], places: _Places
) -> tuple[SectionCorrection, ...]:
    """`17=B` begins a section or names it anew; `17=` takes its letter away."""
    result = list(before)
    for text in said:
        place, letter = parse_said(text, example="17=B")
        bar = parse_place(place)
        if bar.beat not in (None, 1.0):
            raise InputError(f"'{text}': a section begins with a bar; write it like 17=B.")
        if len(letter) > LONGEST_LETTER or not re.fullmatch(r"[\w .'-]*", letter):
            raise InputError(f"'{letter}' is too long for a section; write a letter or a short word, such as B.")
        at_s = places.start_s(bar)
        result = [fix for fix in result if abs(fix.at_s - at_s) > _SAME_PLACE_S]
        result.append(SectionCorrection(at_s=at_s, label=letter))
    return tuple(result)


def _merged_words(
    before: tuple[WordsCorrection, ...], said: tuple[str, ...], places: _Places
) -> tuple[WordsCorrection, ...]:
    """`17=When the harbour` sets the words that begin there; `17=` takes them away."""
    result = list(before)
    for text in said:
        place, words = parse_said(text, example="17=When the harbour")
        if len(words) > LONGEST_WORDS:
            raise InputError(
                f"A cue of {len(words)} letters cannot be read in passing; give {LONGEST_WORDS} at most."
            )
        at_s = places.start_s(parse_place(place))
        result = [fix for fix in result if abs(fix.at_s - at_s) > _SAME_PLACE_S]
        if words:
            result.append(WordsCorrection(at_s=at_s, text=" ".join(words.split())))
    return tuple(result)


def _singer(text: str, places: _Places) -> SingerCorrection:
    """`9-12=no`: in bars 9 to 12 nobody sings."""
    place, word = parse_said(text, example="9-12=no")
    if word.lower() not in (*_YES, *_NO):
        raise InputError(f"'{text}': say yes or no to whether the singer sings there, like 9-12=no.")
    stretch = parse_stretch(place)
    start_s, end_s = places.start_s(stretch.first), places.stop_s(stretch.last)
    if end_s <= start_s:
        raise InputError(f"'{text}' lies before the guide begins; name bars that are in it.")
    return SingerCorrection(start_s=start_s, end_s=end_s, sings=word.lower() in _YES)
