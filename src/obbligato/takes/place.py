"""Where a take lies on the guide's time.

Three kinds of evidence, from coarse to fine. The pitches of the line, slid over the pitches of the take, find the
place to about a frame, whatever the take begins with. The attacks of its notes then give the place to the player's
own lateness, as a mean that leaves outlying notes out, so that a late phrase does not move the take. Bleed of the
click or the guide, where there is any, gives it to a fraction of a millisecond, whatever the player did.

Without bleed a take and its player's lateness cannot be told apart. Hardly any recording starts by chance within
some hundredths of a second of the guide's first sample, whereas players are often late or early by that much: so a
take found within `LATENESS_S` of it is taken to start there, and the rest is reported as the player's. Elsewhere the
place is as uncertain as the player, which `uncertainty_ms` says; a take of the same player whose place is sure makes
it less so (`beside`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import soxr
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.takes.align import align
from obbligato.takes.bleed import Bleed, find_bleed, find_clicks, is_copy
from obbligato.takes.clock import Clock, Loss, drift_of_notes, is_pull, robust_mean
from obbligato.takes.correlating import FRAME, TakeFrames
from obbligato.takes.hearing import Heard, hear, to_analysis_rate
from obbligato.takes.notes import PlayedNote, own_tuning_cents, read_notes
from obbligato.takes.pitch import ANALYSIS_SR, Floats
from obbligato.takes.readings import TimedLine
from obbligato.takes.sliding import Slid, other_rate_hz, slide
from obbligato.takes.splices import at_the_notes, loss_by_notes, sharpest_splice_s

LATENESS_S = 0.04
"""The offset up to which a take is taken to start with the guide, and the rest to be the player's."""
AIR_S = 0.001
"""The sound's way from an ear cup to a microphone, 0.34 m (common practice, no source)."""
_AIR_ERROR_S = 0.001
HEADPHONE_S = 0.003
"""The offset up to which bleed says that a take starts with the guide, for the way may be longer."""
HABIT_MS = 10.0
"""How far players lie before or behind what they hear on the whole (common practice, no source)."""
MOST_LATE_S, VERY_SURE = 0.08, 20.0
"""A place that has the player so far from the beat on the whole must be that sure (our own choice, no source)."""
_CLEAN_ENOUGH = 6
_SPLICE_WITHIN_S = 0.8
_HUMAN_SPREAD_S = 0.002
"""Whose notes spread by less is a machine, whose attacks might pass for clicks."""
_WANDER_S = 0.006
"""How far players wander from phrase to phrase (own, from what takes show)."""


@dataclass(frozen=True)
class Placement:
    """Where a take lies.

    Attributes
    ----------
    offset_s
        The take's first sample on the guide's time (positive: the take starts later).
    drift_ppm
        Clock of the take against the guide's (positive: the take runs slow and falls behind); 0 unless significant.
    confidence
        0 to 1.
    method
        What the offset rests on: "line", "bleed", "guide's start", "stated" or "another take".
    sentence
        The same in words.
    rate_suspect
        Whether the take sounds as if its file named a wrong sampling rate, so that nothing else can be said of it.
    uncertainty_ms
        How far the offset may be off, about two standard errors.
    true_sr
        The rate the take was recorded at where its file names another, Hz; else None.
    losses
        Blocks that were lost, in the order of the take.
    clock_sentence
        What is wrong with its clock, in words, which end the sentence too; empty where nothing is.
    """

    offset_s: float
    drift_ppm: float
    confidence: float
    method: str
    sentence: str
    rate_suspect: bool = False
    uncertainty_ms: float = 0.0
    true_sr: int | None = None
    losses: tuple[Loss, ...] = ()
    clock_sentence: str = ""

    @classmethod
    def from_words(cls, words: Mapping[str, Any]) -> Placement:
        """A placement that was written down as by `dataclasses.asdict`."""
        return cls(**{**words, "losses": tuple(Loss(**loss) for loss in words.get("losses", ()))})

    @property
    def clock(self) -> Clock:
        """The same as a clock."""
        return Clock(self.offset_s, self.drift_ppm, self.losses)

    def to_take_s(self, guide_s: Floats | float) -> Floats:
        """Times in the take of times on the guide."""
        return self.clock.to_take_s(guide_s)

    def to_guide_s(self, take_s: Floats | float) -> Floats:
        """Times on the guide of times in the take."""
        return self.clock.to_guide_s(take_s)


def place_take(
    take: Audio, line: TimedLine, *, guide: Audio | None = None, click: Audio | None = None, a4_hz: float = 440.0
) -> Placement:
    """Find where a take of a line lies on the guide's time.

    Parameters
    ----------
    take
        At any rate, beginning anywhere.
    guide, click
        What the player heard; looked for as bleed.
    a4_hz
        The song's tuning.

    Raises
    ------
    InputError
        When the take is silent or does not hold the line.
    """
    sources = tuple(to_analysis_rate(audio) for audio in (click, guide) if audio is not None)
    return place_heard(hear(take, line, a4_hz=a4_hz), line, sources=sources, a4_hz=a4_hz)[0]


def stated_placement(offset_s: float) -> Placement:
    """The place of a take as the player states it."""
    return Placement(offset_s, 0.0, 1.0, "stated", f"Starts {offset_s:+.3f} s from the guide's start, as stated.")


def place_heard(
    heard: Heard,
    line: TimedLine,
    *,
    sources: tuple[NDArray[np.float32], ...] = (),
    click_times_s: tuple[Floats, ...] = (),
    a4_hz: float,
) -> tuple[Placement, tuple[PlayedNote, ...]]:
    """`place_take` for a take already heard, with the notes found on the way.

    Parameters
    ----------
    sources
        What the player heard, at the analysis rate.
    click_times_s
        When the player may have heard clicks, on the guide's time, by way of clicking; those of the first are looked
        for where nothing of the sources is heard.

    Raises
    ------
    InputError
        When the take does not hold the line, or is a copy of what the player heard.
    """
    rough = slide(heard, line, a4_hz=a4_hz)
    other = other_rate_hz(heard, line, a4_hz=a4_hz, as_named=rough)
    if other is not None:
        return _of_other_rate(heard.named_sr, *other), ()
    if not rough.holds_line:
        raise InputError(
            f"The take does not hold this line (at best {100 * rough.match:.0f} % of it is heard); "
            "check that it is the right file, and the right version of the line."
        )
    played = play_back(heard, line, stated_placement(rough.offset_s), a4_hz=a4_hz)
    by_line = _refined(line, rough, played)
    y = _at_guide_rate(heard.y, by_line.drift_ppm)
    frames = TakeFrames.of(y) if len(y) >= FRAME else None
    sought = [find_bleed(y, source, near_s=by_line.offset_s, frames=frames) for source in sources]
    bleeds = [bleed for bleed in sought if bleed is not None and _believed(bleed, by_line)]
    if not bleeds and by_line.spread_s >= _HUMAN_SPREAD_S:
        clicks = [find_clicks(y, times_s, near_s=by_line.offset_s, frames=frames) for times_s in click_times_s[:1]]
        bleeds = [bleed for bleed in clicks if bleed is not None and _believed(bleed, by_line)]
    if bleeds:
        best = max(bleeds, key=lambda bleed: bleed.strength)
        if any(is_copy(y, source, best.clock) for source in sources):
            raise InputError("This is the guide itself, or a mix with it, and not a take; give the recording alone.")
        return _by_bleed(heard, line, best, by_line, played), played
    return _settled(heard, line, by_line, played), played


def play_back(heard: Heard, line: TimedLine, placement: Placement, *, a4_hz: float) -> tuple[PlayedNote, ...]:
    """Every note of the line as played in a take that lies about at `placement`, in the take's own seconds."""
    expected_s = placement.to_take_s(np.array([note.start_s for note in line.notes]))
    tuning = own_tuning_cents(heard, a4_hz=a4_hz)
    found = align(heard, line.notes, expected_s, a4_hz=a4_hz, tuning_cents=tuning)
    return read_notes(heard, line.notes, found, expected_s, a4_hz=a4_hz)


def _believed(bleed: Bleed, by_line: _ByLine) -> bool:
    """Whether the notes would not be further from the beat on the whole than players are, or the bleed is very sure.

    A click heard for a few bars only is so like itself that another of its swings can pass for it.
    """
    off_s = bleed.clock.offset_s + AIR_S - by_line.offset_s
    return bleed.clock.losses != () or abs(off_s) <= MOST_LATE_S or bleed.strength >= VERY_SURE


@dataclass(frozen=True)
class _ByLine:
    offset_s: float
    error_s: float
    spread_s: float
    drift_ppm: float
    confidence: float


def _of_other_rate(named_sr: int, true_sr: int, slid: Slid) -> Placement:
    sentence = (
        f"The take plays {'fast and sharp' if true_sr < named_sr else 'slow and flat'}, as a {true_sr} Hz recording "
        f"whose file says {named_sr} Hz; export it again at its true rate."
    )
    return Placement(slid.offset_s, 0.0, 0.0, "line", sentence, rate_suspect=True, true_sr=true_sr)


def _refined(line: TimedLine, rough: Slid, played: tuple[PlayedNote, ...]) -> _ByLine:
    """Offset and drift from the attacks of the notes; only from those that stand clear where there are enough."""
    heard = [p for p in played if p.right]
    clean = [p for p in heard if p.clean_attack]
    chosen = clean if len(clean) >= _CLEAN_ENOUGH else heard
    if not chosen:
        return _ByLine(rough.offset_s, 0.05, 0.05, 0.0, 0.2)
    nominal_s = np.array([line.notes[p.index].start_s - rough.offset_s for p in chosen])
    late_s = np.array([p.start_s for p in chosen], dtype=np.float64) - nominal_s
    drift_ppm = _drift_ppm(line, rough.offset_s, clean) or _drift_ppm(line, rough.offset_s, heard)
    lateness_s, spread_s = robust_mean(late_s - 1e-6 * drift_ppm * nominal_s)
    confidence = float(np.clip(rough.match, 0, 1) * np.clip(0.5 + rough.margin, 0, 1))
    phrases = sum(any(ph.first_note <= p.index <= ph.last_note for p in chosen) for ph in line.phrases)
    error_s = float(np.hypot(spread_s / np.sqrt(len(chosen)), _WANDER_S / np.sqrt(max(phrases, 1))))
    return _ByLine(rough.offset_s - lateness_s, error_s, spread_s, drift_ppm, confidence)


def _drift_ppm(line: TimedLine, offset_s: float, played: list[PlayedNote]) -> float:
    nominal_s = np.array([line.notes[p.index].start_s - offset_s for p in played])
    return drift_of_notes(nominal_s, np.array([p.start_s for p in played], dtype=np.float64) - nominal_s)


def _at_guide_rate(y: NDArray[np.float32], drift_ppm: float) -> NDArray[np.float32]:
    """A take whose rate was pulled, put right, for its bleed to be found; others as they are."""
    if not is_pull(drift_ppm):
        return y
    return np.asarray(soxr.resample(y, ANALYSIS_SR * (1.0 + 1e-6 * drift_ppm), ANALYSIS_SR), dtype=np.float32)


def _by_bleed(
    heard: Heard, line: TimedLine, bleed: Bleed, by_line: _ByLine, played: tuple[PlayedNote, ...]
) -> Placement:
    clock = bleed.clock
    pull = 1.0 + 1e-6 * by_line.drift_ppm if is_pull(by_line.drift_ppm) else 1.0
    drift_ppm = 1e6 * (pull * (1.0 + 1e-6 * clock.drift_ppm) - 1.0)
    losses: tuple[Loss, ...] = ()
    for loss in clock.losses:
        before = Clock(clock.offset_s, drift_ppm, losses)
        losses += (_at_splice(heard, at_the_notes(loss.scaled(pull), line, played, before)),)
    by_sound_s = clock.offset_s + AIR_S
    at_start = abs(by_sound_s) <= HEADPHONE_S
    offset_s = 0.0 if at_start else by_sound_s
    where = "with the guide" if at_start else f"{offset_s:+.4f} s from the guide's start"
    error_ms = 1e3 * (bleed.error_s + (abs(by_sound_s) if at_start else _AIR_ERROR_S))
    placement = Placement(
        offset_s, drift_ppm, 1.0, "bleed", f"Starts {where}, by the sound of the headphones in it.", False, error_ms
    )
    return _with_clock(placement, heard, losses)


def _at_splice(heard: Heard, loss: Loss) -> Loss:
    """A loss known to about a second, at the sharpest break of the wave around, if there is one."""
    at_s = sharpest_splice_s(heard.y, loss.at_s, within_s=_SPLICE_WITHIN_S)
    return loss if at_s is None else loss.moved(at_s)


def _settled(heard: Heard, line: TimedLine, by_line: _ByLine, played: tuple[PlayedNote, ...]) -> Placement:
    losses = loss_by_notes(heard, line, played, Clock(by_line.offset_s, by_line.drift_ppm))
    by_line = _before_losses(line, by_line, played, losses)
    error_ms = 2e3 * by_line.error_s
    if abs(by_line.offset_s) <= LATENESS_S:
        late_ms = -1e3 * by_line.offset_s
        offset_s, method, error_ms = 0.0, "guide's start", error_ms + abs(late_ms)
        words = (
            f"Starts with the guide; played {abs(late_ms):.0f} ms {'early' if late_ms < 0 else 'late'} on the whole."
        )
    else:
        offset_s, method, error_ms = by_line.offset_s, "line", error_ms + HABIT_MS
        words = (
            f"Starts {offset_s:+.3f} s from the guide's start, by its notes (give or take {error_ms:.0f} ms, for the "
            "player's own lateness cannot be told from it)."
        )
    placement = Placement(offset_s, by_line.drift_ppm, by_line.confidence, method, words, uncertainty_ms=error_ms)
    return _with_clock(placement, heard, losses)


def _before_losses(
    line: TimedLine, by_line: _ByLine, played: tuple[PlayedNote, ...], losses: tuple[Loss, ...]
) -> _ByLine:
    """The place by the notes when what was lost is known, as it is before the first loss."""
    if not losses:
        return by_line
    right = [p for p in played if p.right]
    told_s = Clock(by_line.offset_s, by_line.drift_ppm, losses).to_guide_s(np.array([p.start_s for p in right]))
    lateness_s, spread_s = robust_mean(told_s - np.array([line.notes[p.index].start_s for p in right]))
    error_s = float(np.hypot(by_line.error_s, losses[0].error_s / 2))
    return replace(by_line, offset_s=by_line.offset_s - lateness_s, spread_s=spread_s, error_s=error_s)


def _with_clock(placement: Placement, heard: Heard, losses: tuple[Loss, ...]) -> Placement:
    """A placement with what is wrong with the take's clock, in its fields and in words."""
    words = _clock_words(heard, placement.drift_ppm, losses)
    return replace(
        placement,
        losses=losses,
        true_sr=_pulled_sr(heard.named_sr, placement.drift_ppm),
        clock_sentence=words,
        sentence=f"{placement.sentence} {words}".strip(),
    )


def _pulled_sr(named_sr: int, drift_ppm: float) -> int | None:
    """The rate of a recording whose rate was pulled by a thousandth; None for others."""
    if not is_pull(drift_ppm):
        return None
    return round(named_sr * (1001 / 1000 if drift_ppm > 0 else 1000 / 1001))


def _clock_words(heard: Heard, drift_ppm: float, losses: tuple[Loss, ...]) -> str:
    words = []
    if is_pull(drift_ppm):
        true_sr = _pulled_sr(heard.named_sr, drift_ppm)
        words.append(f"It was recorded at {true_sr} Hz, a thousandth from what its file says.")
    elif drift_ppm:
        cost_ms = 1e-3 * abs(drift_ppm) * heard.duration_s
        pace = "slow" if drift_ppm > 0 else "fast"
        words.append(f"Its clock runs {abs(drift_ppm):.0f} ppm {pace}, {cost_ms:.0f} ms from its start to its end.")
    for loss in losses:
        what = "is lost" if loss.lost_s > 0 else "is there twice"
        how_sure = f" (give or take {1e3 * loss.error_s:.0f} ms)" if loss.error_s else ""
        words.append(f"{1e3 * abs(loss.lost_s):.1f} ms{how_sure} {what} at {loss.at_s:.1f} s of the take.")
    return " ".join(words)
