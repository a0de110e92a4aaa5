"""What is measured on a set, plainly defined; nothing here knows how takes are read.

`notes` events: each note of the line truly played and reported played is right; a note missed or played wrong and so
reported is right; an extra note planted and reported in its phrase is right. Precision and recall run over all of
them. `faults`: a planted fault counts as found when its own word stands in the flags of its phrase; every other flag
is false, but for words that hold for the whole take and were planted in the whole take, and for the click where it
was mixed into the whole take: it is there.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import mir_eval
import numpy as np

from obbligato.takes.place import Placement
from obbligato.takes.readings import TakeReading, TimedLine
from obbligato.units import midi_to_hz

from .performing import Performed
from .plain import Plain
from .run import Result

UNKNOWABLE = "drift, no bleed"
"""In 45 s a clock that drifts by 200 ppm strays by 9 ms, which is within what players wander: counted apart."""
_TAKE_WORDS = {"hum", "suppressed", "narrow", "absent", "drift", "lost_block", "wrong_rate"}


@dataclass(eq=False)
class Tally:
    """Everything counted over sets; lists hold one value per take or note."""

    placed_ms: list[float] = field(default_factory=list)
    """Where something in the take fixes its place: bleed, or a start together with the guide."""
    by_notes_ms: list[float] = field(default_factory=list)
    unannounced: list[str] = field(default_factory=list)
    events: Counter[str] = field(default_factory=Counter)
    f_mir: list[float] = field(default_factory=list)
    tongued_ms: list[float] = field(default_factory=list)
    slurred_ms: list[float] = field(default_factory=list)
    cents: list[float] = field(default_factory=list)
    planted: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    false: Counter[str] = field(default_factory=Counter)
    chosen: int = 0
    choosable: int = 0
    minutes: float = 0.0
    busy_s: float = 0.0
    misses: list[str] = field(default_factory=list)


def true_offset_s(made: Performed) -> float:
    """Where a take's first sample lies on the guide's time."""
    return made.take.offset_s if made.take.from_s is None else made.take.from_s


def tally(result: Result, total: Tally) -> None:
    """Add a set to the counts."""
    one = result.the_set
    total.minutes += result.minutes
    total.busy_s += result.busy_s
    for reading in result.assessed.assessment.takes:
        where = f"{one.name} {reading.path}"
        if reading.path not in result.played:
            total.misses.append(f"{where}: taken for one of several passes")
            continue
        made = result.played[reading.path]
        spoilt = one.spoilt[1] if one.spoilt and f"take{one.spoilt[0] + 1}" == reading.path else ""
        if spoilt != "wrong rate":
            tally_take(one.written.line, made, reading, result.assessed.placements[reading.path], total, where=where)
        _flags(one.written.line, made, reading, spoilt, total, where=where)
    for name, words in result.refused.items():
        spoilt_rate = one.spoilt == (int(name[4:]) - 1, "wrong rate")
        total.planted["wrong rate"] += spoilt_rate
        total.found["wrong rate"] += spoilt_rate and "Hz" in words
        if not spoilt_rate:
            total.misses.append(f"{one.name} {name}: refused: {words}")
    _choice(result, total)


def tally_take(
    line: TimedLine, made: Performed, reading: TakeReading, placement: Placement, total: Tally, *, where: str
) -> None:
    """Add the place and the notes of one take."""
    off_ms = reading.offset_ms - 1e3 * true_offset_s(made)
    _place(made, off_ms, placement.uncertainty_ms, where, total)
    _notes(line, made, reading, total, off_ms=off_ms, where=where)
    total.f_mir.append(_mir_f(line, made, reading, off_ms))


def tally_plain(line: TimedLine, made: Performed, read: Plain, total: Tally) -> None:
    """Add a take as the plain pipeline read it."""
    truth = {note.index: note for note in made.notes}
    off_s = read.offset_s - true_offset_s(made)
    total.placed_ms.append(1e3 * abs(off_s))
    told = []
    for note in read.notes:
        true, written = truth[note.index], line.notes[note.index]
        right = true.kind == "played"
        word = ("right" if note.played else "not found") if right else ("false" if note.played else "right")
        total.events[word] += 1
        if note.played:
            told.append((note.start_s + true_offset_s(made), written.midi + note.cents / 100))
        if right and note.played:
            late_ms = 1e3 * (note.start_s + true_offset_s(made) - true.start_s)
            (total.slurred_ms if true.slurred else total.tongued_ms).append(late_ms)
            total.cents.append(note.cents - true.cents)
    total.events["not found"] += len(made.extra)
    true_notes = [(n.start_s, line.notes[n.index].midi + n.cents / 100) for n in made.notes if n.kind == "played"]
    total.f_mir.append(f_of_notes(true_notes, told))


def _place(made: Performed, off_ms: float, uncertainty_ms: float, where: str, total: Tally) -> None:
    take = made.take
    fixed = (take.offset_s == 0.0 and take.from_s is None) or take.click_db is not None or take.guide_db is not None
    (total.placed_ms if fixed else total.by_notes_ms).append(abs(off_ms))
    if fixed and abs(off_ms) > 1.0:
        total.misses.append(f"{where}: placed {off_ms:+.1f} ms off")
    if abs(off_ms) > max(5.0, uncertainty_ms):
        total.unannounced.append(where)
        total.misses.append(f"{where}: {off_ms:+.1f} ms off, said to be within {uncertainty_ms:.1f}")


def _notes(
    line: TimedLine, made: Performed, reading: TakeReading, total: Tally, *, off_ms: float, where: str
) -> None:
    truth = {note.index: note for note in made.notes}
    for phrase in reading.phrases:
        if not _recorded(line, made, phrase.index):
            continue
        for note in phrase.notes:
            true = truth[note.index]
            right = true.kind == "played"
            word = ("right" if note.played else "not found") if right else ("false" if note.played else "right")
            total.events[word] += 1
            if word != "right":
                total.misses.append(f"{where}: note {note.index} {true.kind}, told played={note.played}")
            if right and note.played and note.onset_ms is not None and note.cents is not None:
                late_ms = note.onset_ms - 1e3 * (true.start_s - line.notes[note.index].start_s) - off_ms
                (total.slurred_ms if true.slurred else total.tongued_ms).append(late_ms)
                total.cents.append(note.cents - true.cents)
        extra = made.extra.get(phrase.index, 0)
        total.events["right"] += bool(extra and phrase.extra_notes)
        total.events["not found"] += bool(extra and not phrase.extra_notes)
        total.events["false"] += max(0, phrase.extra_notes - extra)
        if bool(extra) != bool(phrase.extra_notes):
            total.misses.append(f"{where}: phrase {phrase.index} {extra} extra, told {phrase.extra_notes}")


def _mir_f(line: TimedLine, made: Performed, reading: TakeReading, off_ms: float) -> float:
    """F of notes by onset (50 ms) and pitch (50 cents), mir_eval."""
    told = [
        (line.notes[n.index].start_s + (n.onset_ms - off_ms) / 1e3, line.notes[n.index].midi + n.cents / 100)
        for phrase in reading.phrases
        for n in phrase.notes
        if n.played and n.onset_ms is not None and n.cents is not None and _recorded(line, made, phrase.index)
    ]
    gone = {n.index for p in reading.phrases if not _recorded(line, made, p.index) for n in p.notes}
    true = [
        (n.start_s, line.notes[n.index].midi + n.cents / 100)
        for n in made.notes
        if n.kind == "played" and n.index not in gone
    ]
    return f_of_notes(true, told)


def f_of_notes(true: list[tuple[float, float]], told: list[tuple[float, float]]) -> float:
    """F of notes given as (start in seconds, MIDI pitch), 50 ms and 50 cents, by mir_eval."""
    if not true or not told:
        return 0.0
    spans, pitches = zip(*(_as_notes(notes) for notes in (true, told)), strict=True)
    return float(
        mir_eval.transcription.precision_recall_f1_overlap(
            spans[0], pitches[0], spans[1], pitches[1], offset_ratio=None
        )[2]
    )


def _as_notes(notes: list[tuple[float, float]]) -> tuple[np.ndarray, np.ndarray]:
    start_s, midi = np.array(sorted(notes)).T
    start_s = start_s - min(0.0, float(start_s.min()))
    return np.stack([start_s, start_s + 0.05], axis=1), np.asarray(midi_to_hz(midi))


def _flags(line: TimedLine, made: Performed, reading: TakeReading, spoilt: str, total: Tally, *, where: str) -> None:
    take = made.take
    drift = "drift" if take.click_db is not None or take.guide_db is not None else UNKNOWABLE
    whole = {
        drift: abs(take.drift_ppm) > 0, "lost_block": bool(take.lost), "hum": spoilt == "hum",
        "suppressed": spoilt == "suppressed", "narrow": spoilt == "narrow", "wrong rate": spoilt == "wrong rate",
    }  # fmt: skip
    for word, there in whole.items():
        told = word.removesuffix(", no bleed").replace(" ", "_") in reading.flags
        total.planted[word] += there
        total.found[word] += there and told
        total.false[word] += told and not there
        if told != there:
            total.misses.append(f"{where}: {word} {'false' if told else 'not found'}")
    for phrase in reading.phrases:
        if not _recorded(line, made, phrase.index) or spoilt == "wrong rate":
            continue
        want = take.faults.get(phrase.index)
        if want:
            total.planted[want] += 1
            total.found[want] += want in phrase.flags
        there = {want, "click_bleed"} if take.click_db is not None else {want}
        wrong = set(phrase.flags) - there - _TAKE_WORDS
        total.false.update(wrong)
        if wrong or (want and want not in phrase.flags):
            total.misses.append(f"{where}: phrase {phrase.index} planted {want}, told {', '.join(phrase.flags)}")


def _choice(result: Result, total: Tally) -> None:
    one = result.the_set
    for choice in result.assessed.assessment.choice:
        clean = [name for name in result.played if _clean(result, name, choice.phrase)]
        if clean:
            total.choosable += 1
            total.chosen += choice.take in clean
            if choice.take not in clean:
                total.misses.append(f"{one.name}: phrase {choice.phrase} from {choice.take}, clean were {clean}")


def _clean(result: Result, name: str, phrase: int) -> bool:
    one, made = result.the_set, result.played[name]
    if name in result.refused or (one.spoilt and f"take{one.spoilt[0] + 1}" == name):
        return False
    return _recorded(one.written.line, made, phrase) and phrase not in made.take.faults


def _recorded(line: TimedLine, made: Performed, phrase: int) -> bool:
    """Whether the whole of a phrase lies in a take that holds only a part of the song."""
    span, take = line.phrases[phrase], made.take
    if take.from_s is None or take.to_s is None:
        return True
    return line.notes[span.first_note].start_s >= take.from_s and line.notes[span.last_note].end_s <= take.to_s
