"""A song map in sentences: what was found, how sure it is, and what a player should settle by ear."""

from __future__ import annotations

from obbligato.listen.songmap import SongMap, TempoStep
from obbligato.music.grid import Grid
from obbligato.music.harmony import NO_CHORD, chord_text, pitch_class
from obbligato.music.spans import Opening
from obbligato.units import seconds_to_clock

UNSURE_BELOW = 0.5
"""Confidence below which a finding is put as a question."""

_ROOM = {
    "fill": "room for an answer",
    "break": "a break, the singer is out",
    "feature": "room for a solo",
}
_ANSWER_BEATS = 2.0
_STAB = "room for a stab or a push"
"""What a fill shorter than an answer has room for (rule of thumb of the trade, no source)."""

STRAYS_CENTS = 5.0
"""From here on a section's own pitch is told: what a trained ear hears (common practice, no source)."""

_STEADY_PPM = 20.0
_SAME_TEMPO = 0.002
_ENDING_SHARE = 0.2
"""What lasts no longer than this share of the song is its ending."""


def map_sentences(song: SongMap, *, tempo_by_hand: bool = False) -> list[str]:
    """Tempo, steadiness, metre, bar 1, count-in, tuning and keys, one sentence each, then what is unsure."""
    sentences = [
        _tempo_sentence(song, by_hand=tempo_by_hand),
        _meter_sentence(song),
        _bar_1_sentence(song),
        _tuning_sentence(song),
    ]
    if song.keys:
        sentences.append(_keys_sentence(song))
    if not song.voice:
        room = ": where there is room is yours to say" if song.openings else ", so no openings are named"
        sentences.append(f"No singer was heard{room}.")
    elif song.openings:
        beats = sum(opening.beats for opening in song.openings)
        sentences.append(f"The singer leaves {_count(len(song.openings), 'opening')}, {beats:.0f} beats in all.")
    sentences += [f"Note: {warning}" for warning in song.source.warnings]
    return sentences


def map_questions(song: SongMap) -> list[str]:
    """What the listening is unsure of, each with how to put it right."""
    questions = []
    if song.tempo.confidence < UNSURE_BELOW:
        others = " or ".join(f"{bpm:.1f}" for bpm in song.tempo.alternatives[:2])
        hint = f" It could also be counted at {others}." if others else ""
        questions.append(f"Is the tempo {song.tempo.bpm:.2f}?{hint} Put it right with --bpm, --halve or --double.")
    if song.meter.confidence < UNSURE_BELOW:
        questions.append(f"Are there {song.meter.beats_per_bar} beats to a bar? Put it right with --meter.")
    for key in song.keys:
        if key.confidence < UNSURE_BELOW:
            at = seconds_to_clock(key.start_s)
            questions.append(f"Is the key {key.tonic} {key.mode} from {at} on? Put it right with --key.")
    return questions


def opening_sentence(opening: Opening, song: SongMap, grid: Grid) -> str:
    """An opening in words: bars, clock, length, the chord it begins over, and what it has room for."""
    bars = (
        f"bar {opening.first_bar}"
        if opening.first_bar == opening.last_bar
        else f"bars {opening.first_bar}-{opening.last_bar}"
    )
    beat = grid.spoken_position(float(grid.sec_to_beat(opening.start_s))).beat
    at = seconds_to_clock(opening.start_s)
    chord = _chord_text_at(song, opening.start_s)
    over = f" over {chord}" if chord else ""
    return f"{bars}, from beat {beat:.1f} ({at}), {opening.beats:.1f} beats{over}: {_room(opening)}"


def _room(opening: Opening) -> str:
    return _STAB if opening.kind == "fill" and opening.beats < _ANSWER_BEATS else _ROOM[opening.kind]


def _chord_text_at(song: SongMap, seconds: float) -> str:
    """The symbol of the chord that sounds at a moment; empty where none does."""
    label = next((span.label for span in song.chords if span.start_s <= seconds < span.end_s), NO_CHORD)
    return "" if label == NO_CHORD else chord_text(label)


def _tempo_sentence(song: SongMap, *, by_hand: bool) -> str:
    tempo, unit = song.tempo, song.meter.beat_unit
    if by_hand:
        return f"Tempo: {tempo.bpm:.3f} {unit}s a minute throughout, as set by hand."
    broken = "".join(f" {_step_sentence(song, step)}" for step in tempo.steps)
    if tempo.steady:
        how = f"steady throughout (heard beats scatter by {tempo.scatter_ms:.0f} ms about it)"
        if abs(tempo.slope_ppm) >= _STEADY_PPM:
            how += f", with a drift of {tempo.slope_ppm:+.0f} parts per million"
        return f"Tempo: {tempo.bpm:.3f} {unit}s a minute, {how}.{broken}"
    if _ends_otherwise(song):
        start = tempo.changes[1]
        how = "slows down" if start.bpm < tempo.bpm else "speeds up"
        at = seconds_to_clock(start.start_s)
        return f"Tempo: {tempo.bpm:.3f} {unit}s a minute, steady until {at}, then it {how} to the end.{broken}"
    slow, fast = (pick(change.bpm for change in tempo.changes) for pick in (min, max)) if tempo.changes else (0, 0)
    course = f", moving between {slow:.1f} and {fast:.1f}" if tempo.changes else ""
    return f"Tempo: {tempo.bpm:.2f} {unit}s a minute on average{course}; the grid follows it.{broken}"


def _ends_otherwise(song: SongMap) -> bool:
    """Whether the song keeps one tempo up to an ending that slows down or speeds up."""
    changes = song.tempo.changes
    if len(changes) < 2 or abs(changes[0].bpm / song.tempo.bpm - 1.0) > _SAME_TEMPO:
        return False
    rest_s = song.grid.beats_s[-1] - changes[1].start_s
    slower = [change.bpm < changes[0].bpm for change in changes[1:]]
    return len(set(slower)) == 1 and rest_s < _ENDING_SHARE * song.source.duration_s


def _step_sentence(song: SongMap, step: TempoStep) -> str:
    """Where beats are missing or too many."""
    bar = song.to_grid().spoken_position(float(song.to_grid().sec_to_beat(step.at_s))).bar
    amount = f"{abs(step.beats):.2f}".rstrip("0").rstrip(".")
    beats = "beat" if abs(step.beats) <= 1.0 else "beats"
    what = f"{amount} {beats} missing" if step.beats > 0.0 else f"{amount} {beats} too many"
    return f"At {seconds_to_clock(step.at_s)}, about bar {bar}: {what} (a short bar, a pause or an edit)."


def _meter_sentence(song: SongMap) -> str:
    return f"Metre: {song.to_grid().meter}, counted in {song.meter.beats_per_bar} {song.meter.beat_unit}s a bar."


def _bar_1_sentence(song: SongMap) -> str:
    place = f"Bar 1 begins at {seconds_to_clock(song.grid.bar_1_s)} of the file"
    count = song.count_in
    if count is None:
        return f"{place}; no count-in was heard."
    clicks, bars = _count(count.clicks, "click"), f"{count.bars:.1f}".removesuffix(".0")
    return f"{place}, after a count-in of {clicks} ({bars} {'bar' if count.bars == 1 else 'bars'})."


def _tuning_sentence(song: SongMap) -> str:
    cents = song.tuning.cents
    where = "at" if abs(cents) < 0.5 else f"{abs(cents):.1f} cents {'above' if cents > 0 else 'below'}"
    return f"Tuning: A4 is {song.tuning.a4_hz:.2f} Hz, {where} 440 Hz.{_strays(song)}"


def _strays(song: SongMap) -> str:
    """The sections that lie elsewhere than the song, by more than an ear lets pass."""
    words = []
    for section in song.tuning.sections:
        apart = section.cents - song.tuning.cents
        if abs(apart) >= STRAYS_CENTS:
            middle_s = 0.5 * (section.start_s + section.end_s)
            letter = next((s.label for s in song.sections if s.start_s <= middle_s < s.end_s), "")
            where = "above" if apart > 0 else "below"
            at = seconds_to_clock(section.start_s)
            what = f"Section {letter} ({at})" if letter else f"What begins at {at}"
            words.append(f" {what} lies {abs(apart):.0f} cents {where} that.")
    return "".join(words)


def _keys_sentence(song: SongMap) -> str:
    grid = song.to_grid()
    names = [f"{song.keys[0].tonic} {song.keys[0].mode}"]
    for before, key in zip(song.keys, song.keys[1:], strict=False):
        step = (pitch_class(key.tonic) - pitch_class(before.tonic) + 6) % 12 - 6
        bar = round(float(grid.sec_to_beat(key.start_s)) / grid.meter.beats_per_bar) + 1
        moved = f" ({_count(abs(step), 'semitone')} {'up' if step > 0 else 'down'})" if step else ""
        names.append(f"{key.tonic} {key.mode} from bar {bar}{moved}")
    return f"Key: {', then '.join(names)}."


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
