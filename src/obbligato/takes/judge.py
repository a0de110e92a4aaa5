"""Which phrases of which takes carry a fault.

Every judgement is made against the take itself and, where three or more takes of a phrase were read, against what
they share: if all takes lay a phrase back, or swell in it, that is the phrase and no fault. The limits are the
trade's where it has one (`docs/takes.md` lists them); flags are single words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from obbligato.sound.runs import true_runs
from obbligato.takes.measure import PhraseMeasures, TakeMeasures
from obbligato.takes.partials import Floats
from obbligato.takes.readings import PhraseSpan, TimedLine

LATE_MS, LATE_ALONE_MS = 40.0, 55.0
NOTE_LATE_MS, NOTE_LATE_ALONE_MS = 100.0, 130.0
"""Limits without other takes to compare with are wider, for slow attacks are read less surely than that."""
FLAT_CENTS = 15.0
FLAT_OUTRIGHT_CENTS = 25.0
NOTE_FLAT_CENTS = 38.0
DROP_DB = 4.5
DROP_ALONE_DB = 12.0
NOTE_DROP_DB = 6.0
STRAY_OVER_USUAL_DB = 9.0
STRAY_UNDER_PLAYING_DB = 26.0
CLICK_LIKENESS, CLICK_LIKENESS_KNOWN = 2.8, 2.0
"""From which the click is heard in a phrase; the latter where the take as a whole leaves no doubt that it has it."""
CLICK_UNDER_PLAYING_DB = 26.0
"""A click whose sound is known disturbs a phrase from here on, as noise does; a fainter one is told for the take."""
QUIET_DB = 20.0
ENOUGH_TAKES = 3

FLAGS = (
    "absent",
    "missed_note",
    "wrong_note",
    "extra_note",
    "cut_head",
    "cut_tail",
    "dropout",
    "clipped",
    "noise",
    "suppressed",
    "narrow",
    "hum",
    "click_bleed",
    "level_drop",
    "quiet",
    "late",
    "early",
    "flat",
    "sharp",
)
"""All flags, gravest first."""
OF_THE_TAKE = ("suppressed", "narrow", "hum", "click_bleed")
"""Those that concern a take as a whole."""


@dataclass(frozen=True, eq=False)
class Judgement:
    """One phrase of one take.

    Attributes
    ----------
    flags
        From `FLAGS`, gravest first.
    late_ms
        The phrase against the take's own time and what the takes share.
    cents
        The phrase against the song's tuning; `cents_off` against the take's own and what the takes share.
    level_off_db
        Likewise.
    scatter_ms, scatter_cents
        Robust spread within the phrase.
    late_note, late_note_ms
        Position in the line of the single note that a flag of timing rests on, None if the whole phrase, and by how
        much it is late.
    off_note, off_note_cents
        Likewise for a flag of tuning.
    """

    flags: tuple[str, ...]
    late_ms: float
    cents: float
    cents_off: float
    level_off_db: float
    scatter_ms: float
    scatter_cents: float
    late_note: int | None = None
    late_note_ms: float = 0.0
    off_note: int | None = None
    off_note_cents: float = 0.0


def judge(
    takes: Sequence[TakeMeasures], line: TimedLine, *, pure_cents: Floats | None = None
) -> list[list[Judgement]]:
    """Judge every phrase of every take, shape (n_takes)(n_phrases).

    Parameters
    ----------
    pure_cents
        Where each note would be pure over its chord, as from `intonation.pure_places_cents`: a note that is nearer to
        that than to equal temperament is judged by it.
    """
    late = _apart(np.array([t.late_ms - _phrase_centre(t.late_ms, line) for t in takes]))
    own_cents = np.array([t.cents - _centre(t.cents) for t in takes])
    cents = _apart(np.where(np.array([t.steady for t in takes]), own_cents, np.nan))
    level = _apart(np.array([t.level_db - _phrase_centre(t.level_db, line) for t in takes]))
    groove = np.array([t.groove_ms - _phrase_centre(t.groove_ms, line) for t in takes])
    late = np.where(np.abs(groove) < np.abs(late), groove, late)
    if pure_cents is not None:
        cents = np.where(np.abs(cents - pure_cents) < np.abs(cents), cents - pure_cents, cents)
    usual_stray = [_usual_stray_db(t) for t in takes]
    compared = len(takes) >= ENOUGH_TAKES
    return [
        [
            _judge_phrase(
                take,
                line,
                phrase,
                late_ms=late[i],
                cents_off=cents[i],
                level_off_db=level[i],
                usual_stray_db=usual_stray[i],
                compared=compared,
            )
            for phrase in line.phrases
        ]
        for i, take in enumerate(takes)
    ]


def _judge_phrase(
    take: TakeMeasures,
    line: TimedLine,
    phrase: PhraseSpan,
    *,
    late_ms: Floats,
    cents_off: Floats,
    level_off_db: Floats,
    usual_stray_db: float,
    compared: bool,
) -> Judgement:
    here = slice(phrase.first_note, phrase.last_note + 1)
    played, measured = take.played[here], take.phrases[phrase.index]
    if measured.absent:
        return Judgement(("absent",), 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    phrase_late, phrase_cents = _centre(late_ms[here]), _centre(take.cents[here])
    phrase_off, phrase_level = _centre(cents_off[here]), _centre(level_off_db[here])
    flags = {
        "missed_note": any(not p.heard for p in played),
        "wrong_note": any(p.wrong_semitones for p in played),
        "extra_note": bool(measured.extra),
        "cut_head": measured.cut_head,
        "cut_tail": measured.cut_tail,
        "dropout": measured.gap_s is not None,
        "clipped": measured.clipped,
        "noise": measured.gap_s is None and not measured.clipped and _noisy(take, measured.stray_db, usual_stray_db),
        "suppressed": take.sound.silence_dbfs is not None,
        "narrow": take.sound.narrow_hz is not None,
        "hum": take.sound.hum_hz > 0,
        "click_bleed": _click_disturbs(take, measured),
        "level_drop": _dropped(line, phrase, level_off_db[here], phrase_level, compared),
        "quiet": _centre(take.level_db[here]) < take.room_db + QUIET_DB,
    }
    late_limit_ms = LATE_MS if compared else LATE_ALONE_MS
    late_note = _outlier(late_ms[here] - phrase_late, NOTE_LATE_MS if compared else NOTE_LATE_ALONE_MS)
    off_note = _outlier(cents_off[here] - phrase_off, NOTE_FLAT_CENTS)
    lateness = phrase_late if abs(phrase_late) >= late_limit_ms else _at(late_ms[here], late_note)
    flags["late"], flags["early"] = lateness >= late_limit_ms, lateness <= -late_limit_ms
    pitch = phrase_off if abs(phrase_off) >= FLAT_CENTS else _at(cents_off[here], off_note)
    if abs(phrase_cents) >= FLAT_OUTRIGHT_CENTS and abs(pitch) < FLAT_CENTS:
        pitch = phrase_cents
    flags["flat"], flags["sharp"] = pitch <= -FLAT_CENTS, pitch >= FLAT_CENTS
    alone_late = late_note is not None and abs(phrase_late) < late_limit_ms
    alone_off = off_note is not None and abs(phrase_off) < FLAT_CENTS
    return Judgement(
        flags=tuple(flag for flag in FLAGS if flags.get(flag)),
        late_ms=phrase_late,
        cents=phrase_cents,
        cents_off=phrase_off,
        level_off_db=phrase_level,
        scatter_ms=_spread(late_ms[here]),
        scatter_cents=_spread(cents_off[here]),
        late_note=phrase.first_note + late_note if late_note is not None and alone_late else None,
        late_note_ms=_at(late_ms[here], late_note),
        off_note=phrase.first_note + off_note if off_note is not None and alone_off else None,
        off_note_cents=_at(cents_off[here], off_note),
    )


def _click_disturbs(take: TakeMeasures, phrase: PhraseMeasures) -> bool:
    """By its level where it is the click whose sound is known; else by how alike its moments are."""
    if phrase.click_dbfs is not None and phrase.click_dbfs > _centre(take.level_db) - CLICK_UNDER_PLAYING_DB:
        return True
    sure = take.sound.click_likeness >= CLICK_LIKENESS
    return not take.sound.click_known and phrase.click_likeness >= (CLICK_LIKENESS_KNOWN if sure else CLICK_LIKENESS)


def _noisy(take: TakeMeasures, stray_db: float, usual_db: float) -> bool:
    playing_db = _centre(take.level_db)
    return stray_db > usual_db + STRAY_OVER_USUAL_DB and stray_db > playing_db - STRAY_UNDER_PLAYING_DB


def _usual_stray_db(take: TakeMeasures) -> float:
    values = np.array([p.stray_db for p in take.phrases])
    values = values[np.isfinite(values)]
    return float(np.median(values)) if values.size else np.inf


def _dropped(line: TimedLine, phrase: PhraseSpan, level_off_db: Floats, phrase_level: float, compared: bool) -> bool:
    """The whole phrase too soft, or two or more notes in a row that make up a third of it."""
    if not compared:
        return phrase_level <= -DROP_ALONE_DB
    if phrase_level <= -DROP_DB:
        return True
    soft = np.nan_to_num(level_off_db, nan=0.0) <= -NOTE_DROP_DB
    notes = line.notes[phrase.first_note : phrase.last_note + 1]
    length_s = notes[-1].end_s - notes[0].start_s
    return any(b - a >= 2 and notes[b - 1].end_s - notes[a].start_s >= length_s / 3 for a, b in true_runs(soft))


def _apart(values: Floats) -> Floats:
    """What sets each take apart from the others, note by note; the values themselves for fewer than three takes."""
    if len(values) < ENOUGH_TAKES:
        return values
    enough = np.isfinite(values).sum(axis=0) >= ENOUGH_TAKES
    shared = np.zeros(values.shape[1])
    if enough.any():
        shared[enough] = np.nanmedian(values[:, enough], axis=0)
    return np.asarray(values - shared)


def _phrase_centre(values: Floats, line: TimedLine) -> float:
    """Median over the phrases' medians, so that long phrases do not rule."""
    centres = [_centre(values[p.first_note : p.last_note + 1]) for p in line.phrases]
    heard = [c for p, c in zip(line.phrases, centres, strict=True) if _any(values, p)]
    return float(np.median(heard)) if heard else 0.0


def _any(values: Floats, phrase: PhraseSpan) -> bool:
    return bool(np.isfinite(values[phrase.first_note : phrase.last_note + 1]).any())


def _centre(values: Floats) -> float:
    finite = values[np.isfinite(values)]
    return float(np.median(finite)) if finite.size else 0.0


def _spread(values: Floats) -> float:
    finite = values[np.isfinite(values)]
    return 1.4826 * float(np.median(np.abs(finite - np.median(finite)))) if finite.size > 2 else 0.0


def _outlier(deviation: Floats, limit: float) -> int | None:
    size = np.abs(np.nan_to_num(deviation, nan=0.0))
    worst = int(np.argmax(size))
    return worst if size[worst] >= limit else None


def _at(values: Floats, position: int | None) -> float:
    return 0.0 if position is None else float(values[position])
