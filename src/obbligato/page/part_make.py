"""From a line and a song map to the page: which bars, in which key, under which chords, with which rests."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Grid, Meter
from obbligato.music.harmony import (
    chord_text,
    key_fifths,
    parse_chord,
    transpose_key,
)
from obbligato.music.instruments import Instrument, Interval
from obbligato.music.line import Line
from obbligato.music.notation import Notation, Piece, measures
from obbligato.music.spans import SungWords
from obbligato.music.spelling import Spelling, spell
from obbligato.page.clefs import with_clefs
from obbligato.page.part_score import Heading, Part, ScoreBar, ScoreChord, ScoreNote, WrittenKey, interval_words
from obbligato.page.score_marks import NO_SCORE_MARKS, ScoreMarks, on_tied, score_marks
from obbligato.page.tempo_marks import first_tempo, tempo_marks
from obbligato.units import seconds_to_clock

MIDDLE_C = 60
_CUE_LENGTH = 22
"""Characters that stand over a bar of rest without running into the next."""


def make_part(
    line: Line,
    song: SongMap,
    instrument: Instrument,
    heading: Heading,
    *,
    gather_rests: bool = True,
    words: Sequence[SungWords] = (),
    concert: bool = False,
) -> Part:
    """Lay out the page for a line: transposed, spelled, in the song's bars, with rests, letters, chords and breaths.

    The page goes from bar 1 (or the bar of a note before it) to the song's last bar. A run of empty bars becomes one
    rest, broken where a section or a key begins; the bar before an entry is shown by itself under its chords, so
    that the player hears the entry coming.

    Parameters
    ----------
    line
        In sounding pitch, as performed; the page shows it quantised.
    song
        Where bars, keys, chords and sections come from.
    gather_rests
        Whether empty bars become multi-bar rests; else every bar is shown, under its chords.
    words
        What is sung, as far as it was typed in; the words before an entry stand there as a cue.
    concert
        A score in concert pitch instead of the part that the player reads: no transposition but the octaves in which
        an instrument is written as a rule.
    """
    reader = instrument
    if concert:
        instrument = in_concert_pitch(reader)
    grid = song.to_grid()
    keys = written_keys(song, grid, instrument)
    notation = measures(line, grid.meter, first_bar=1, last_bar=_last_bar(song, grid))
    spans = _written_spans(notation, grid.meter)
    pitches = _written_pitches(line, spans, instrument, keys, grid.meter)
    breaths, marks = _breaths(line, spans), score_marks(line.notes, notation.detached)
    at_pitch = replace(instrument, transposition=Interval())
    sounding = _written_pitches(line, spans, at_pitch, written_keys(song, grid, at_pitch), grid.meter)[0]
    first = notation.measures[0].number
    tempi = tempo_marks(song, grid)
    sections = {_nearest_bar(grid, span.start_s): span.label for span in song.sections}
    bars = [
        ScoreBar(
            measure.number,
            tuple(_score_note(piece, grid.meter, pitches, breaths, marks) for piece in measure.pieces),
            rehearsal=sections.get(measure.number, ""),
            key=_new_key(keys, measure.number) if measure.number > first else None,
            tempo=tempi.get(measure.number) if measure.number > first else None,
        )
        for measure in notation.measures
    ]
    bars = with_cues(_with_rests(bars), words, grid) if gather_rests else bars
    part = Part(
        heading=heading,
        instrument=instrument,
        meter=grid.meter,
        grid=grid,
        key=key_at(keys, first),
        beats_a_minute=first_tempo(song),
        steady=song.tempo.steady,
        feel=_feel(notation, grid.meter),
        lead_in=_lead_in(song, first),
        first_note=_as_the_player_reads(reader, pitches[0]) if concert else _first_note(sounding, pitches[0]),
        bars=_with_chords(bars, song, grid, instrument, keys),
        concert_of=reader if concert else None,
    )
    return with_clefs(part)


def in_concert_pitch(instrument: Instrument) -> Instrument:
    """The instrument as it stands in a concert score: only an instrument that sounds octaves away keeps them."""
    if instrument.transposition.chromatic == 0:
        return instrument
    return replace(instrument, transposition=Interval(), clef="bass" if _reads_low(instrument) else "treble")


def _reads_low(instrument: Instrument) -> bool:
    """Whether an instrument in concert pitch lies below middle C on the whole."""
    return instrument.to_sounding((instrument.comfortable_low + instrument.comfortable_high) // 2) < MIDDLE_C


def _feel(notation: Notation, meter: Meter) -> str:
    """How halved beats are to be read; nothing where there are none, or where beats go in threes."""
    halves = any(
        piece.note is not None and piece.onset % 1 == Fraction(1, 2) and piece.tuplet is None
        for measure in notation.measures
        for piece in measure.pieces
    )
    return notation.feel.capitalize() or ("Straight" if halves and meter.beat_quarters == 1 else "")


def _score_note(
    piece: Piece,
    meter: Meter,
    pitches: Sequence[Spelling],
    breaths: Collection[int],
    marks: Sequence[ScoreMarks],
) -> ScoreNote:
    tied_back, tied_on = piece.tied_from_before, piece.tied_to_next
    return ScoreNote(
        piece.onset * meter.beat_quarters,
        piece.duration * meter.beat_quarters,
        None if piece.note is None else pitches[piece.note],
        tied_from_before=tied_back,
        tied_to_next=tied_on,
        tuplet=piece.tuplet,
        breath_after=piece.note in breaths and not tied_on,
        marks=NO_SCORE_MARKS
        if piece.note is None
        else on_tied(marks[piece.note], tied_from_before=tied_back, tied_to_next=tied_on),
    )


def _written_spans(notation: Notation, meter: Meter) -> dict[int, tuple[Fraction, Fraction]]:
    """Start and end of every note as written, in beats from bar 1."""
    spans: dict[int, tuple[Fraction, Fraction]] = {}
    for measure in notation.measures:
        for piece in measure.pieces:
            if piece.note is not None:
                onset = (measure.number - 1) * meter.beats_per_bar + piece.onset
                start, _ = spans.get(piece.note, (onset, onset))
                spans[piece.note] = (start, onset + piece.duration)
    return spans


def _written_pitches(
    line: Line,
    spans: Mapping[int, tuple[Fraction, Fraction]],
    instrument: Instrument,
    keys: Mapping[int, WrittenKey],
    meter: Meter,
) -> tuple[Spelling, ...]:
    """Every note of the line in written pitch, spelled in the key of its bar."""
    up = -instrument.transposition.semitones
    bars = [int(spans[index][0] // meter.beats_per_bar) + 1 for index in range(len(line.notes))]
    in_force = [key_at(keys, bar) for bar in bars]
    return spell([note.pitch + up for note in line.notes], [(key.fifths, key.mode) for key in in_force])


def _breaths(line: Line, spans: Mapping[int, tuple[Fraction, Fraction]]) -> frozenset[int]:
    """Notes after which a breath is marked, or a phrase ends without a written rest of half a beat to breathe in."""
    marked = {index for index, note in enumerate(line.notes) if note.marks.breath}
    lasts = (phrase.last_note for phrase in line.phrases[:-1])
    return frozenset(marked | {last for last in lasts if spans[last + 1][0] - spans[last][1] < Fraction(1, 2)})


def written_keys(song: SongMap, grid: Grid, instrument: Instrument) -> dict[int, WrittenKey]:
    """Written keys by the bar in which they begin."""
    up = -instrument.transposition.semitones
    keys = {}
    for span in song.keys:
        tonic = transpose_key(span.tonic, span.mode, up)
        keys[_nearest_bar(grid, span.start_s)] = WrittenKey(key_fifths(tonic, span.mode), span.mode)
    return keys or {1: WrittenKey(0, "major")}


def key_at(keys: Mapping[int, WrittenKey], bar: int) -> WrittenKey:
    """The key in force in a bar; before the first key, the first."""
    starts = sorted(keys)
    return keys[starts[max(0, bisect_right(starts, bar) - 1)]]


def _new_key(keys: Mapping[int, WrittenKey], bar: int) -> WrittenKey | None:
    """The key that begins in a bar, where its signature differs from the one before."""
    here = key_at(keys, bar)
    return here if here.fifths != key_at(keys, bar - 1).fifths else None


def _nearest_bar(grid: Grid, seconds: float) -> int:
    return round(float(grid.sec_to_beat(seconds)) / grid.meter.beats_per_bar) + 1


def _last_bar(song: SongMap, grid: Grid) -> int:
    """The bar in which the last section or chord ends; with neither, the last bar that begins in the file."""
    ends = [span.end_s for span in (*song.sections[-1:], *song.chords[-1:])]
    if ends:
        return max(1, _nearest_bar(grid, max(ends)) - 1)
    return max(1, grid.bars_in(0.0, song.source.duration_s).stop - 1)


def _with_rests(bars: list[ScoreBar]) -> list[ScoreBar]:
    """Gather empty bars into multi-bar rests, leaving out the bar before an entry."""
    result = list(bars)
    start = 0
    while start < len(bars):
        end = start
        while end < len(bars) and not bars[end].notes and not (end > start and _begins_anew(bars[end])):
            end += 1
        entry_follows = end < len(bars) and bool(bars[end].notes)
        covered = end - start - (1 if entry_follows else 0)
        if covered > 1:
            result[start] = replace(bars[start], rest_bars=covered)
        start = max(end, start + 1)
    return result


def _begins_anew(bar: ScoreBar) -> bool:
    """Whether a bar must not be lost inside a long rest."""
    return bool(bar.rehearsal or bar.key or bar.tempo)


def with_cues(bars: list[ScoreBar], words: Sequence[SungWords], grid: Grid) -> list[ScoreBar]:
    """In the last bar of a rest of two bars or more, the words that are sung last before the entry."""
    sung = {_bar_of(grid, one.at_s): one.text for one in sorted(words, key=lambda one: one.at_s)}
    result = list(bars)
    for index in range(1, len(bars) - 1):
        bar, before = bars[index], bars[index - 1]
        if bar.notes or before.notes or not bars[index + 1].notes or bar.rest_bars:
            continue
        text = sung.get(bar.number) or sung.get(before.number)
        result[index] = replace(bar, cue=f"“{_last_words(text)}”") if text else bar
    return result


def _last_words(text: str) -> str:
    """The end of a line that is too long for its bar: what is heard just before the entry."""
    words = text.split()
    shown = words[-1:]
    for word in reversed(words[:-1]):
        if len(" ".join([word, *shown])) > _CUE_LENGTH:
            return f"… {' '.join(shown)}"
        shown = [word, *shown]
    return " ".join(shown)


def _bar_of(grid: Grid, seconds: float) -> int:
    return grid.position_at(seconds).bar


def _with_chords(
    bars: list[ScoreBar], song: SongMap, grid: Grid, instrument: Instrument, keys: Mapping[int, WrittenKey]
) -> tuple[ScoreBar, ...]:
    """Chord symbols over every bar that is not inside a multi-bar rest, repeated where a section begins."""
    changes = _chord_beats(song, grid)
    beats = sorted(changes)
    result = []
    shown_before = ""
    covered = 0
    for bar in bars:
        covered = max(covered - 1, bar.rest_bars)
        if covered > 0:
            result.append(bar)
            shown_before = ""
            continue
        if bar.rehearsal:
            shown_before = ""
        start = (bar.number - 1) * grid.meter.beats_per_bar
        inside = [beat for beat in beats if start < beat < start + grid.meter.beats_per_bar]
        sounding = bisect_right(beats, start) - 1
        labels = ([(start, changes[beats[sounding]])] if sounding >= 0 else []) + [(b, changes[b]) for b in inside]
        chords = []
        key = key_at(keys, bar.number)
        for beat, label in labels:
            if label != shown_before:
                text = written_chord(label, instrument, key)
                chords.append(ScoreChord((beat - start) * grid.meter.beat_quarters, text))
            shown_before = label
        result.append(replace(bar, chords=tuple(chords)))
    return tuple(result)


def written_chord(label: str, instrument: Instrument, key: WrittenKey) -> str:
    """A chord symbol in written pitch, spelled as its root would be in the key."""
    chord = parse_chord(label)
    up = -instrument.transposition.semitones
    flats = chord is None or spell([60 + chord.root + up], [(key.fifths, key.mode)])[0].alter < 0
    return chord_text(label, up, prefer_flats=flats)


def _chord_beats(song: SongMap, grid: Grid) -> dict[int, str]:
    """Chord labels by the whole beat nearest to where they begin; of two on one beat the later."""
    return {round(float(grid.sec_to_beat(span.start_s))): span.label for span in song.chords}


def _lead_in(song: SongMap, first: int) -> str:
    at = f"Bar 1 is at {seconds_to_clock(song.grid.bar_1_s)} of the guide"
    count = song.count_in
    words = f"{at}, after {count.clicks} clicks of count-in" if count else f"{at}, without a count-in"
    return f"{words}; the part begins in bar {first}." if first < 1 else f"{words}."


def _first_note(sounding: Spelling, written: Spelling) -> str:
    """The first note check: a page in the wrong octave or key shows itself before a note is recorded."""
    return f"Your first written note is {written}; on the guide it sounds as {sounding}."


def _as_the_player_reads(reader: Instrument, first: Spelling) -> str:
    """What a score says instead, to one who looks from it to the player's part."""
    semitones = -reader.transposition.semitones
    if semitones == 0 or reader.transposition.chromatic == 0:
        return f"The first note is {first}, as in the player's part."
    return f"The first note is {first}; the player's part is written {interval_words(semitones)}."
