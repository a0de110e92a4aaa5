"""Why a take was chosen for a phrase, and what would change that, in words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields

from obbligato.takes.readings import PhraseReading, ScoreParts, TakeReading

_WITHOUT = {
    "flat": "not flat",
    "sharp": "not sharp",
    "late": "not late",
    "early": "not early",
    "wrong_note": "without its wrong note",
    "missed_note": "without its missed note",
    "extra_note": "without its extra note",
    "level_drop": "not softer than the rest",
    "quiet": "louder",
    "clipped": "not clipped",
    "dropout": "without lost sound",
    "noise": "without the noise",
    "click_bleed": "without the click in it",
    "cut_head": "whole at its start",
    "cut_tail": "whole at its end",
    "hum": "without hum",
    "suppressed": "not altered by noise suppression",
    "narrow": "not so narrow in sound",
}
_IN_WHAT = {"notes": "the notes", "time": "time", "tune": "tune", "noise": "noise", "tone": "tone", "level": "level"}


@dataclass(frozen=True)
class Weighed:
    """A phrase as it was decided.

    Attributes
    ----------
    chosen, base
        Positions of the take that was chosen, and of the one used most.
    costs
        By take, the points that speak against it in this phrase alone.
    totals
        By take, how many points dearer the whole would be with that take here, 0 for the cheapest.
    """

    phrase: int
    chosen: int
    base: int
    readings: Sequence[TakeReading]
    costs: tuple[float, ...]
    totals: tuple[float, ...]
    by_hand: bool

    def of(self, take: int) -> PhraseReading:
        """The phrase in a take."""
        return self.readings[take].phrases[self.phrase]


def why(weighed: Weighed) -> str:
    """Why this take."""
    reading = weighed.of(weighed.chosen)
    if weighed.by_hand:
        return "By hand." + (f" Note: {_complaint(reading)}." if reading.flags else "")
    if not _played(reading):
        return "No take holds this phrase; record it."
    if reading.flags:
        others = "no take is free of faults here" if len(weighed.readings) > 1 else "there is only this take"
        if any(not weighed.of(i).flags for i in range(len(weighed.readings))):
            others = "a join would be dearer"
        return f"The best there is: {others}; {_complaint(reading)}."
    if weighed.chosen == weighed.base:
        return "The take used most, and nothing is wrong with it here."
    return _why_not_the_base(weighed, reading)


def _why_not_the_base(weighed: Weighed, reading: PhraseReading) -> str:
    base, replaced = weighed.readings[weighed.base].path, weighed.of(weighed.base)
    if not _played(replaced):
        return f"{base} does not hold this phrase."
    if replaced.flags:
        return f"{base} is not right here: {_complaint(replaced)}."
    if replaced.score < reading.score:
        points = f"{reading.score:.0f} points against {replaced.score:.0f}{_mostly(reading, replaced)}"
        by_how_much = points if reading.score - replaced.score >= 1.0 else "by less than a point"
        return f"Better played than in {base} ({by_how_much})."
    return "Saves a join with the phrases around it."


def _mostly(better: PhraseReading, worse: PhraseReading) -> str:
    """In what most of a difference lies, where more than half of it lies in one thing."""
    gained = [a - b for a, b in zip(astuple(worse.score_parts), astuple(better.score_parts), strict=True)]
    most = max(range(len(gained)), key=gained.__getitem__)
    name = fields(ScoreParts)[most].name
    return f", most of it in {_IN_WHAT[name]}" if gained[most] > 0.5 * (better.score - worse.score) else ""


def change(weighed: Weighed) -> str:
    """What would change the choice: the take that comes next, and how far it is behind."""
    others = [i for i in range(len(weighed.readings)) if i != weighed.chosen and _played(weighed.of(i))]
    if not others:
        return "No other take holds this phrase." if len(weighed.readings) > 1 else ""
    following = min(others, key=weighed.totals.__getitem__)
    name, reading = weighed.readings[following].path, weighed.of(following)
    chosen = weighed.of(weighed.chosen)
    if weighed.by_hand:
        cheaper = weighed.totals[weighed.chosen] > 0.0
        return f"Left to the readings it would be {name}." if cheaper else "The readings say the same."
    behind = max(0.0, weighed.totals[following] - weighed.totals[weighed.chosen])
    if not _played(chosen):
        return f"Next would be {name}."
    if reading.flags and behind < weighed.costs[following] - weighed.costs[weighed.chosen]:
        place = reading.verdict.partition(":")[0]
        healed = " and ".join(_WITHOUT.get(flag, f"without {flag}") for flag in reading.flags)
        return f"It would be {name}, were {place[:1].lower()}{place[1:]} {healed}."
    better = weighed.costs[weighed.chosen] - weighed.costs[following]
    if better > 0.0:
        return f"It would be {name}, better here by {_points(better)}, if joins were cheaper."
    return f"Next would be {name}, {_points(behind)} behind."


def _points(points: float) -> str:
    if points < 0.95:
        return "less than a point"
    return "1 point" if round(points) == 1 else f"{points:.0f} points"


def _played(reading: PhraseReading) -> bool:
    return any(note.played for note in reading.notes)


def _complaint(reading: PhraseReading) -> str:
    """What a verdict finds wrong, without the place and the remedies."""
    _, _, words = reading.verdict.partition(": ")
    faults, *_ = re.split(r"\.(?= [A-Z]|$)", words)
    return faults
