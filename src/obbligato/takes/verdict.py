"""A judgement in words and as a number: where, how much, why, and what to do about it."""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields

from obbligato.music.grid import Grid
from obbligato.music.instruments import Instrument
from obbligato.takes.judge import Judgement
from obbligato.takes.measure import TakeMeasures
from obbligato.takes.readings import PhraseSpan, ScoreParts, TimedLine
from obbligato.units import seconds_to_clock

FLAG_COST = {
    "absent": ("notes", 100.0),
    "missed_note": ("notes", 15.0),
    "wrong_note": ("notes", 15.0),
    "extra_note": ("notes", 10.0),
    "cut_head": ("notes", 40.0),
    "cut_tail": ("notes", 40.0),
    "dropout": ("noise", 30.0),
    "clipped": ("noise", 30.0),
    "noise": ("noise", 25.0),
    "suppressed": ("tone", 15.0),
    "narrow": ("tone", 25.0),
    "hum": ("noise", 15.0),
    "click_bleed": ("noise", 20.0),
    "level_drop": ("level", 20.0),
    "quiet": ("level", 10.0),
    "late": ("time", 15.0),
    "early": ("time", 15.0),
    "flat": ("tune", 15.0),
    "sharp": ("tune", 15.0),
}
"""For what, and how many, points are taken off for a fault; notes missed or wrong count each, up to three."""
_MS_FREE, _POINTS_PER_MS, _MOST_FOR_TIME = 10.0, 0.2, 20.0
_SCATTER_MS_FREE, _POINTS_PER_SCATTER_MS, _MOST_FOR_SCATTER = 12.0, 0.3, 8.0
_CENTS_FREE, _POINTS_PER_CENT, _MOST_FOR_PITCH = 5.0, 0.5, 20.0
_SCATTER_CENTS_FREE, _POINTS_PER_SCATTER_CENT, _MOST_FOR_UNEVEN = 6.0, 0.4, 8.0
_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")

_AGAIN = "Use another take or play it again."
_MOVE = "Use another take, or move it by hand."
_REMEDIES = {
    "late": _MOVE,
    "early": _MOVE,
    "level_drop": "Use another take, or bring it up.",
    "clipped": "Use another take, or lower the input by 6 dB and play it again.",
    "click_bleed": "Use another take, or turn the headphones down and play it again.",
    "quiet": "Move closer or raise the input.",
    "absent": "",
    "suppressed": "Turn off noise suppression and voice enhancement for this input, and play it again.",
    "narrow": "Choose the right microphone, and play it again.",
    "hum": "Move away from mains leads and power supplies, or find the loose earth, and play it again.",
}
"""What to do about a flag, where it is not simply `_AGAIN`."""


def score_parts(judgement: Judgement, take: TakeMeasures, phrase: PhraseSpan) -> ScoreParts:
    """Points lost: for each fault, and for what lies beyond the free ranges of time and pitch."""
    played = take.played[phrase.first_note : phrase.last_note + 1]
    lost = dict.fromkeys((field.name for field in fields(ScoreParts)), 0.0)
    for flag in judgement.flags:
        times = 1
        if flag == "missed_note":
            times = min(3, sum(not p.heard for p in played))
        elif flag == "wrong_note":
            times = min(3, sum(p.wrong_semitones != 0 for p in played))
        part, cost = FLAG_COST[flag]
        lost[part] += cost * times
    lost["time"] += _beyond(judgement.late_ms, _MS_FREE, _POINTS_PER_MS, _MOST_FOR_TIME)
    lost["time"] += _beyond(judgement.scatter_ms, _SCATTER_MS_FREE, _POINTS_PER_SCATTER_MS, _MOST_FOR_SCATTER)
    lost["tune"] += _beyond(judgement.cents, _CENTS_FREE, _POINTS_PER_CENT, _MOST_FOR_PITCH)
    lost["tune"] += _beyond(judgement.scatter_cents, _SCATTER_CENTS_FREE, _POINTS_PER_SCATTER_CENT, _MOST_FOR_UNEVEN)
    return ScoreParts(**{part: round(points, 1) for part, points in lost.items()})


def score(parts: ScoreParts) -> float:
    """0 to 100: what the parts leave of 100."""
    return float(round(max(0.0, 100.0 - sum(astuple(parts))), 1))


def _beyond(value: float, free: float, rate: float, most: float) -> float:
    return min(most, rate * max(0.0, abs(value) - free))


@dataclass(frozen=True)
class Wording:
    """How places and notes are named: in the grid's bars, and in the written pitch that the player reads."""

    grid: Grid | None = None
    instrument: Instrument | None = None

    def pitch(self, midi: int) -> str:
        """A sounding pitch by name; `written` before it where the instrument transposes."""
        if self.instrument is None or self.instrument.transposition.semitones == 0:
            return f"{_NAMES[midi % 12]}{midi // 12 - 1}"
        written = self.instrument.to_written(midi)
        return f"written {_NAMES[written % 12]}{written // 12 - 1}"

    def note(self, line: TimedLine, index: int) -> str:
        """One note by its name and place."""
        note = line.notes[index]
        if self.grid is None:
            return f"the {self.pitch(note.midi)} at {seconds_to_clock(note.start_s)}"
        bar, beat = self.grid.position_at(note.start_s)
        return f"the {self.pitch(note.midi)} in bar {bar} on beat {beat:.1f}".removesuffix(".0")

    def notes(self, line: TimedLine, indices: list[int]) -> str:
        """The first of some notes, and how many more there are."""
        words = self.note(line, indices[0])
        return words if len(indices) == 1 else f"{words} and {len(indices) - 1} more"


def verdict(
    judgement: Judgement, take: TakeMeasures, line: TimedLine, phrase: PhraseSpan, *, wording: Wording
) -> str:
    """The judgement as a sentence or two, beginning with the place."""
    notes = line.notes[phrase.first_note : phrase.last_note + 1]
    where = place_words(notes[0].start_s, notes[-1].end_s, wording.grid)
    if not judgement.flags:
        return f"{where}: clean; {_late_words(judgement.late_ms)}, {_cents_words(judgement.cents)}."
    faults = "; ".join(_fault(flag, judgement, take, line, phrase, wording=wording) for flag in judgement.flags)
    remedies = dict.fromkeys(_REMEDIES.get(flag, _AGAIN) for flag in judgement.flags)
    return " ".join([f"{where}: {faults}.", *filter(None, remedies)])


def place_words(start_s: float, end_s: float, grid: Grid | None) -> str:
    """A stretch as bars, or as clock time where there is no grid."""
    if grid is None:
        return f"{seconds_to_clock(start_s)} to {seconds_to_clock(end_s)}"
    first, last = grid.position_at(start_s).bar, grid.position_at(max(start_s, end_s - 0.02)).bar
    return f"Bar {first}" if first == last else f"Bars {first} to {last}"


def _fault(
    flag: str, judgement: Judgement, take: TakeMeasures, line: TimedLine, phrase: PhraseSpan, *, wording: Wording
) -> str:
    """What is wrong, in words, with its size."""
    indices = range(phrase.first_note, phrase.last_note + 1)
    measured = take.phrases[phrase.index]
    if flag in ("late", "early", "flat", "sharp"):
        return _shifted(flag, judgement, line, wording=wording)
    if flag == "missed_note":
        missing = [i for i in indices if not take.played[i].heard]
        nothing = len(missing) == len(indices)
        return "nothing of it was heard" if nothing else f"{wording.notes(line, missing)} missing"
    if flag == "wrong_note":
        wrong = [i for i in indices if take.played[i].wrong_semitones]
        sounded = take.played[wrong[0]].wrong_semitones + line.notes[wrong[0]].midi
        return f"{wording.notes(line, wrong)} played as {wording.pitch(sounded)}"
    return {
        "noise": f"a noise at {seconds_to_clock(measured.stray_at_s)} ({measured.stray_db:.0f} dBFS)",
        "dropout": f"sound lost at {seconds_to_clock(measured.gap_s or 0.0)}, as when a buffer drops",
        "level_drop": f"{abs(judgement.level_off_db):.0f} dB softer than the rest",
        "extra_note": f"{_count(len(measured.extra))} too many",
        "cut_head": "the file begins after the phrase does",
        "cut_tail": "the file ends before the phrase does",
        "clipped": "the peaks are cut flat, for the input was set too high",
        "click_bleed": "the click is heard in it",
        "quiet": "hardly above the noise of the room",
        "absent": "not in this take",
        "suppressed": "the sound between the notes is cut away, as by noise suppression",
        "narrow": f"nothing above {(take.sound.narrow_hz or 0.0) / 1e3:.1f} kHz, as from the wrong microphone",
        "hum": f"mains hum of {take.sound.hum_hz:.0f} Hz at {take.sound.hum_dbfs:.0f} dBFS",
    }[flag]


def _shifted(flag: str, judgement: Judgement, line: TimedLine, *, wording: Wording) -> str:
    if flag in ("late", "early"):
        note, size = judgement.late_note, judgement.late_note_ms
        size = judgement.late_ms if note is None else size
        unit = "ms"
    else:
        note, size = judgement.off_note, judgement.off_note_cents
        size = max(judgement.cents_off, judgement.cents, key=abs) if note is None else size
        unit = "cents"
    what = "all of it" if note is None else wording.note(line, note)
    return f"{what} {abs(size):.0f} {unit} {flag}"


def _count(notes: int) -> str:
    return "a note" if notes == 1 else f"{notes} notes"


def _late_words(ms: float) -> str:
    return "in time" if abs(ms) < 5 else f"{abs(ms):.0f} ms {'late' if ms > 0 else 'early'}"


def _cents_words(cents: float) -> str:
    return "in tune" if abs(cents) < 3 else f"{abs(cents):.0f} cents {'sharp' if cents > 0 else 'flat'}"
