"""Takes of a free solo, of which no line is written: compared with one another, and chosen from by whole phrases.

The takes share the guide, so a moment of one is the same moment of the others. Where all of them rest, a phrase ends.
Nothing can be said of right and wrong notes, nor of early and late ones; what can is how a phrase is in tune with the
song, which notes rub against its chords, what else is heard in it, and how far the versions differ.

References
----------
Müller, "Fundamentals of Music Processing", 2015, chapter 3 (dynamic time warping of pitch classes, by which versions
are compared).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.music.harmony import note_name, parse_chord
from obbligato.music.spans import ChordSpan
from obbligato.takes.choose import Wishes
from obbligato.takes.free_choice import FreeReadings, choose_free
from obbligato.takes.free_notes import FreeNote, FreeTake
from obbligato.takes.judge import STRAY_OVER_USUAL_DB, STRAY_UNDER_PLAYING_DB
from obbligato.takes.partials import Floats
from obbligato.takes.readings import (
    Assessment,
    NoteReading,
    PhraseReading,
    PhraseSpan,
    ScoreParts,
    TakeReading,
    TimedLine,
    TimedNote,
)
from obbligato.takes.sounds import is_clipped, loudest_stray_db

SHORTEST_REST_S = 0.3
FLAT_CENTS = 20.0
LONG_CLASH_S = 0.4
_SOFT_DB = 6.0
_STEP_S = 0.05
_LEEWAY_S = 0.4
_PER_STEP_ASIDE = 0.1
_PER_CENT, _FREE_CENTS = 0.6, 5.0
_PER_CLASH, _FOR_NOISE, _FOR_CLIPPING, _PER_SOFT_DB = 8.0, 30.0, 40.0, 2.0


@dataclass(frozen=True, eq=False)
class _Version:
    """One phrase in one take."""

    take: FreeTake
    start_s: float
    end_s: float
    notes: tuple[FreeNote, ...]


@dataclass(frozen=True)
class _Beside:
    """What a phrase of a take is judged beside.

    Attributes
    ----------
    levels_db
        Of all takes in this phrase; None where one does not play.
    unlike
        How far it differs from the others; None for a lone take.
    stray_db
        What else is usually heard in the take.
    """

    levels_db: tuple[float | None, ...]
    unlike: float | None
    stray_db: float


def assess_free(
    takes: Sequence[FreeTake],
    *,
    grid: Grid,
    chords: Sequence[ChordSpan] = (),
    wishes: Wishes | None = None,
) -> Assessment:
    """Read takes of a free solo and choose among them: `read_free`, then `choose_free`."""
    return choose_free(read_free(takes, grid=grid, chords=chords), grid=grid, wishes=wishes)


def read_free(takes: Sequence[FreeTake], *, grid: Grid, chords: Sequence[ChordSpan] = ()) -> FreeReadings:
    """Read takes of a free solo beside one another.

    The notes of the version that is most like the others stand in for the line, phrase by phrase; "played" tells
    whether anything sounds at their moments, "cents" how that is in tune.

    Raises
    ------
    InputError
        When there is no take, or no note in any.
    """
    if not takes or not any(take.notes for take in takes):
        raise InputError("No note is heard in any take; check which files these are.")
    bounds = common_phrases(takes)
    versions = [[_version(take, start_s, end_s) for take in takes] for start_s, end_s in bounds]
    unlike = [_unlike(row) for row in versions]
    line = _stand_in(versions, unlike)
    usual_db = [tuple(_level_db(v) for v in row) for row in versions]
    stray_db = [float(np.median([_stray_db(row[i]) for row in versions])) for i in range(len(takes))]
    readings = tuple(
        TakeReading(
            take.path,
            offset_ms=1e3 * take.offset_s,
            drift_ppm=0.0,
            tuning_cents=_tuning_cents(take.notes),
            phrases=tuple(
                _reading(
                    versions[p][i],
                    line,
                    line.phrases[p],
                    beside=_Beside(usual_db[p], _others(unlike[p], i), stray_db[i]),
                    chords=chords,
                    grid=grid,
                )
                for p in range(len(bounds))
            ),
            sentence=_place_words(take),
        )
        for i, take in enumerate(takes)
    )
    return FreeReadings(
        line=line,
        takes=readings,
        bounds_s=bounds,
        levels_db=tuple(take.playing_dbfs for take in takes),
        cents=tuple(tuple(_tuning_cents(row[i].notes) for row in versions) for i in range(len(takes))),
        rooms_db=tuple(_rooms_db(take, bounds) for take in takes),
    )


def common_phrases(takes: Sequence[FreeTake]) -> tuple[tuple[float, float], ...]:
    """Stretches of the guide's time between the rests that all takes have in common."""
    spans = sorted((note.start_s, note.end_s) for take in takes for note in take.notes)
    phrases: list[tuple[float, float]] = []
    for start_s, end_s in spans:
        if phrases and start_s - phrases[-1][1] < SHORTEST_REST_S:
            phrases[-1] = (phrases[-1][0], max(phrases[-1][1], end_s))
        else:
            phrases.append((start_s, end_s))
    return tuple(phrases)


def _version(take: FreeTake, start_s: float, end_s: float) -> _Version:
    inside = tuple(note for note in take.notes if note.start_s >= start_s - 1e-6 and note.end_s <= end_s + 1e-6)
    return _Version(take, start_s, end_s, inside)


def _stand_in(versions: Sequence[Sequence[_Version]], unlike: Sequence[Floats]) -> TimedLine:
    """The notes of the versions most like the others, as a line."""
    notes: list[TimedNote] = []
    phrases = []
    for index, (row, apart) in enumerate(zip(versions, unlike, strict=True)):
        with_notes = [i for i, version in enumerate(row) if version.notes]
        middle = min(with_notes, key=lambda i: float(apart[i][with_notes].sum()))
        first = len(notes)
        notes += [
            TimedNote(first + i, note.start_s, note.end_s, note.midi) for i, note in enumerate(row[middle].notes)
        ]
        phrases.append(PhraseSpan(index, first, len(notes) - 1))
    return TimedLine(tuple(notes), tuple(phrases))


def _unlike(versions: Sequence[_Version]) -> Floats:
    """How far any two versions of a phrase differ, 0 to 1, shape (n_takes, n_takes): the share of the time in which
    their pitch classes do, along the best alignment that moves neither by more than some tenths of a second."""
    classes = np.array([_classes(version) for version in versions])
    one, other = np.triu_indices(len(versions), 1)
    n, reach = classes.shape[1], round(_LEEWAY_S / _STEP_S)
    previous, row = np.full((2, n + 1, len(one)), np.inf)
    previous[0] = 0.0
    for i in range(n):
        row[max(0, i - reach) : i + reach + 3] = np.inf
        for j in range(max(0, i - reach), min(n, i + reach + 1)):
            step = np.minimum(previous[j], np.minimum(previous[j + 1], row[j]) + _PER_STEP_ASIDE)
            row[j + 1] = (classes[one, i] != classes[other, j]) + step
        previous, row = row, previous
    apart = np.zeros((len(versions), len(versions)))
    apart[one, other] = apart[other, one] = np.minimum(1.0, previous[n] / n)
    return apart


def _classes(version: _Version) -> NDArray[np.intp]:
    """The pitch class that sounds at each moment of a phrase; -1 for a rest."""
    times_s = version.start_s + _STEP_S * (np.arange(max(1, int((version.end_s - version.start_s) / _STEP_S))) + 0.5)
    classes = np.full(len(times_s), -1)
    for note in version.notes:
        classes[(times_s >= note.start_s) & (times_s < note.end_s)] = note.midi % 12
    return classes


def _others(apart: Floats, i: int) -> float | None:
    others = np.delete(apart[i], i)
    return float(others.mean()) if others.size else None


def _reading(
    version: _Version,
    line: TimedLine,
    phrase: PhraseSpan,
    *,
    beside: _Beside,
    chords: Sequence[ChordSpan],
    grid: Grid,
) -> PhraseReading:
    """One phrase in one take, judged by itself and by the level that the others have there."""
    notes = tuple(_note_reading(version, note) for note in line.notes[phrase.first_note : phrase.last_note + 1])
    place = _place(version, grid)
    if not version.notes:
        return PhraseReading(
            phrase.index, 0.0, f"{place}: nothing is played here.", (), notes, 0, ScoreParts(notes=100)
        )
    cents = _tuning_cents(version.notes)
    level_db, known = _level_db(version), [level for level in beside.levels_db if level is not None]
    softer_db = float(np.median(known)) - level_db if level_db is not None and len(known) >= 3 else 0.0
    clashes = _clashes(version, chords)
    noisy = _is_noisy(version, beside.stray_db)
    clipped = is_clipped(
        version.take.flat_tops_s, version.start_s - version.take.offset_s, version.end_s - version.take.offset_s
    )
    flags = {
        "clipped": clipped,
        "noise": noisy and not clipped,
        "flat": cents <= -FLAT_CENTS,
        "sharp": cents >= FLAT_CENTS,
        "level_drop": softer_db >= _SOFT_DB,
    }
    parts = ScoreParts(
        notes=_PER_CLASH * len(clashes),
        tune=_PER_CENT * max(0.0, abs(cents) - _FREE_CENTS),
        noise=_FOR_CLIPPING * clipped + _FOR_NOISE * flags["noise"],
        level=_PER_SOFT_DB * max(0.0, softer_db - _SOFT_DB / 2),
    )
    score = max(0.0, 100.0 - parts.notes - parts.tune - parts.noise - parts.level)
    words = _faults(flags, cents, softer_db) + clashes
    said = "; ".join(words) if words else "nothing is wrong with it"
    share = beside.unlike
    differs = f" It differs from the other takes in {100 * share:.0f} % of the time." if share is not None else ""
    raised = tuple(name for name, is_so in flags.items() if is_so)
    return PhraseReading(phrase.index, score, f"{place}: {said}.{differs}", raised, notes, 0, parts)


def _faults(flags: dict[str, bool], cents: float, softer_db: float) -> list[str]:
    words = {
        "clipped": "peaks are cut flat; turn the input down",
        "noise": "something is heard that is not the playing",
        "flat": f"{-cents:.0f} cents flat to the song",
        "sharp": f"{cents:.0f} cents sharp to the song",
        "level_drop": f"{softer_db:.0f} dB softer than the other takes here",
    }
    return [words[name] for name, is_so in flags.items() if is_so]


def _note_reading(version: _Version, note: TimedNote) -> NoteReading:
    """What sounds at the moment of a note of the stand-in line."""
    middle_s = (note.start_s + note.end_s) / 2
    there = next((n for n in version.notes if n.start_s <= middle_s < n.end_s), None)
    if there is None:
        return NoteReading(note.index, False, None, None, None)
    onset_ms = 1e3 * (there.start_s - note.start_s) if there.midi == note.midi else None
    return NoteReading(note.index, True, there.cents, onset_ms, there.level_db)


def _clashes(version: _Version, chords: Sequence[ChordSpan]) -> list[str]:
    """Long notes a semitone above a note of the chord, in words; such a rub may be meant."""
    words = []
    for note in version.notes:
        for span in chords:
            shared_s = min(note.end_s, span.end_s) - max(note.start_s, span.start_s)
            chord = parse_chord(span.label) if shared_s >= LONG_CLASH_S else None
            if chord is None or note.midi % 12 in chord.pitch_classes:
                continue
            if (note.midi - 1) % 12 in chord.pitch_classes:
                words.append(f"{note_name(note.midi)} rubs against {span.label} for {shared_s:.1f} s")
                break
    return words


def _is_noisy(version: _Version, usual_db: float) -> bool:
    """Whether some sound that is no partial of the notes stands out, by the same measure as for a written line."""
    stray_db = _stray_db(version)
    playing_db = version.take.playing_dbfs
    return stray_db > usual_db + STRAY_OVER_USUAL_DB and stray_db > playing_db - STRAY_UNDER_PLAYING_DB


def _stray_db(version: _Version) -> float:
    """The loudest of what is no partial of the notes, away from their attacks, dBFS."""
    offset_s = version.take.offset_s
    edges_s = np.sort([t - offset_s for note in version.notes for t in (note.start_s, note.end_s)])
    heard = version.take.heard
    return loudest_stray_db(heard, version.start_s - offset_s, version.end_s - offset_s, np.asarray(edges_s))[0]


def _level_db(version: _Version) -> float | None:
    return float(np.median([note.level_db for note in version.notes])) if version.notes else None


def _tuning_cents(notes: Sequence[FreeNote]) -> float:
    return float(np.median([note.cents for note in notes])) if notes else 0.0


def _place(version: _Version, grid: Grid) -> str:
    first, last = (grid.position_at(t).bar for t in (version.start_s, max(version.start_s, version.end_s - 0.05)))
    return f"Bar {first}" if first == last else f"Bars {first} to {last}"


def _place_words(take: FreeTake) -> str:
    if take.by_bleed:
        return f"Starts {take.offset_s:+.4f} s from the guide's start, by the sound of the headphones in it."
    return (
        "Taken to start with the guide."
        if not take.offset_s
        else f"Starts {take.offset_s:+.3f} s from it, as stated."
    )


def _rooms_db(take: FreeTake, bounds_s: Sequence[tuple[float, float]]) -> tuple[float, ...]:
    """The level of the room in each rest between two phrases, dBFS."""
    heard, offset_s = take.heard, take.offset_s
    rests = [(before[1] - offset_s, after[0] - offset_s) for before, after in pairwise(bounds_s)]
    return tuple(float(np.median(heard.level_db[heard.frames_between(*rest)])) for rest in rests)
