"""Where each bar of the old guide is in the new one, and what has become of it there.

Where the same sound is found, sample on sample, it is compared. Where it is not, the beats of the new guide are
heard: when it plays at another speed with the pitch that goes with it, it is brought back to the old speed and
looked for again; when not, its beats are followed by harmony.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby
from typing import Literal

import numpy as np
import soxr
from numpy.typing import NDArray

from obbligato.errors import NoBeatError
from obbligato.listen.beats import find_grid
from obbligato.listen.chroma import beat_chroma
from obbligato.listen.comparing import chroma_of_part, compare_copy, sung_anew, turned_semitones
from obbligato.listen.following import follow_beats
from obbligato.listen.matching import Copies, find_copies, runs_of_one_lag
from obbligato.listen.songmap import SongMap
from obbligato.listen.tuning import find_tuning
from obbligato.listen.voice import find_voice
from obbligato.music.grid import Grid
from obbligato.music.spans import Span
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.units import cents_to_ratio

Array = NDArray[np.float64]

Kind = Literal[
    "identical", "moved", "level", "tempo", "key", "re-sung", "remixed", "replayed", "changed", "inserted", "removed"
]
"""`remixed` lies sample on sample but is mixed or played otherwise; `replayed` is the same music in a new recording;
`changed` is as long as before, and something else."""

_ENOUGH_COPIED = 0.4
"""Share of the sounding bars that must be found sample on sample, or the beats are followed instead."""

LEAST_GAIN_DB = 0.1
_SAME_TEMPO = 5e-4
_SAME_WANDERING_TEMPO = 3e-3
_SAME_PITCH_CENTS = 8.0
_SPEED_CENTS = 6.0
"""How near pitch and tempo must go together for a new guide to be the old one at another speed."""

_CLOCK_PPM = 2.0
_EDGE_S = 0.05
_TRIES_AT_SPEED = 3
_RATIOS = tuple(map(Fraction, ("1", "2", "1/2", "3/2", "2/3", "3", "1/3", "4", "1/4")))


@dataclass(frozen=True)
class Bar:
    """A bar of the old guide, and where it is in the new one."""

    number: int
    old: Span
    section: str
    new: Span | None = None
    kind: Kind = "removed"
    moved_samples: float | None = None
    gain_db: float | None = None
    residual_db: float | None = None
    inverted: bool = False
    tempo_ratio: float = 1.0
    pitch_cents: float = 0.0


@dataclass(frozen=True, eq=False)
class Guides:
    """The old guide with its song map, and the new one at the old one's sampling rate."""

    old: Audio
    song: SongMap
    new: Audio

    @property
    def grid(self) -> Grid:
        """The old guide's grid."""
        return self.song.to_grid()


@dataclass(frozen=True, eq=False)
class Placed:
    """The bars with their places, and how tempo and pitch of the new guide are to the old."""

    bars: list[Bar]
    tempo_ratio: float = 1.0
    pitch_cents: float = 0.0


def place_bars(guides: Guides, *, progress: Progress = silent) -> Placed:
    """Find every bar of the old guide in the new one."""
    bars = _bars_of(guides)
    edges_s = _edges_s(bars)
    copies = find_copies(guides.old, guides.new, edges_s, progress=part_of(progress, 0.0, 0.4))
    rest = part_of(progress, 0.4, 1.0)
    if _share(copies) < _ENOUGH_COPIED:
        return _followed(bars, guides, rest)
    drift = _drift(copies, edges_s)
    if abs(drift) < 1e-6 * _CLOCK_PPM:
        return Placed(_copied(bars, copies, guides, rest))
    return _at_another_speed(bars, 1.0 / (1.0 + drift), guides, rest) or Placed(bars)


def _edges_s(bars: Sequence[Bar]) -> Array:
    return np.array([*(bar.old.start_s for bar in bars), bars[-1].old.end_s])


def _bars_of(guides: Guides) -> list[Bar]:
    """The bars of the old guide, the first and the last cut off where the file begins and ends."""
    grid, end_s = guides.grid, guides.old.duration_s
    first = grid.position_at(0.0).bar
    last = max(first, grid.position_at(end_s - 1e-6).bar)
    bars = []
    for number in range(first, last + 1):
        span = Span(max(0.0, grid.bar_to_sec(number)), min(end_s, grid.bar_to_sec(number + 1)))
        if span.end_s - span.start_s > 1e-3:
            middle = 0.5 * (span.start_s + span.end_s)
            labels = [s.label for s in guides.song.sections if s.start_s <= middle]
            bars.append(Bar(number, span, labels[-1] if labels else ""))
    return _whole(bars)


def _whole(bars: list[Bar]) -> list[Bar]:
    """The bars with a stump of less than half a bar at the head or the end made part of its neighbour."""
    half_s = 0.5 * float(np.median([bar.old.end_s - bar.old.start_s for bar in bars]))
    if len(bars) > 1 and bars[0].old.end_s - bars[0].old.start_s < half_s:
        bars = [replace(bars[1], old=Span(bars[0].old.start_s, bars[1].old.end_s)), *bars[2:]]
    if len(bars) > 1 and bars[-1].old.end_s - bars[-1].old.start_s < half_s:
        bars = [*bars[:-2], replace(bars[-2], old=Span(bars[-2].old.start_s, bars[-1].old.end_s))]
    return bars


def _share(copies: Copies) -> float:
    sounding = ~copies.silent
    return float(np.mean(copies.found[sounding])) if sounding.any() else 1.0


def _copied(bars: list[Bar], copies: Copies, guides: Guides, progress: Progress) -> list[Bar]:
    """What happened to each bar that was found sample on sample."""
    compared = []
    for bar, lag_s, likeness in zip(bars, copies.lag_s, copies.likeness, strict=True):
        if not np.isfinite(lag_s):
            compared.append(bar)
            continue
        facts = compare_copy(guides.old, guides.new, _inside(bar.old), float(lag_s))
        compared.append(
            replace(
                bar,
                new=Span(bar.old.start_s + float(lag_s), bar.old.end_s + float(lag_s)),
                kind="identical" if facts.same_sound else "remixed",
                moved_samples=round(float(lag_s) * guides.old.sr, 2) + 0.0,
                gain_db=facts.gain_db,
                residual_db=facts.residual_db,
                inverted=bool(likeness < 0),
            )
        )
    return _named(_explained(compared, guides, progress))


def _inside(span: Span) -> Span:
    """A stretch without its edges: a cut is made near a bar line, seldom on it."""
    edge_s = min(_EDGE_S, 0.1 * (span.end_s - span.start_s))
    return Span(span.start_s + edge_s, span.end_s - edge_s)


def _named(bars: list[Bar]) -> list[Bar]:
    """The kind of each copy that is the same sound, by place and level; silence is as its neighbour."""
    named: list[Bar] = []
    for bar in bars:
        kind = bar.kind
        if kind == "identical":
            if bar.moved_samples:
                kind = "moved"
            elif bar.gain_db is None:
                kind = named[-1].kind if named and named[-1].kind == "level" else kind
            elif abs(bar.gain_db) >= LEAST_GAIN_DB or bar.inverted:
                kind = "level"
        named.append(replace(bar, kind=kind))
    return named


def _drift(copies: Copies, edges_s: Array) -> float:
    """By which share of the time the lag grows, in the longest run without a cut."""
    runs = runs_of_one_lag(copies.lag_s, edges_s)
    first, after = max(runs, key=lambda run: run[1] - run[0])
    here = first + np.flatnonzero(np.isfinite(copies.lag_s[first:after]) & ~copies.silent[first:after])
    if here.size < 2:
        return 0.0
    return float((copies.lag_s[here[-1]] - copies.lag_s[here[0]]) / (edges_s[here[-1]] - edges_s[here[0]]))


def _explained(bars: list[Bar], guides: Guides, progress: Progress) -> list[Bar]:
    """For bars that lie sample on sample and do not sound the same, why: key, singer, or mix."""
    if not any(bar.kind == "remixed" for bar in bars):
        return bars
    sung = list(guides.song.voice)
    for span in find_voice(guides.new, progress=part_of(progress, 0.0, 0.8)):
        lag = next((b.old.start_s - b.new.start_s for b in bars if b.new and b.new.end_s > span.start_s), 0.0)
        sung.append(Span(span.start_s + lag, span.end_s + lag))
    explained: list[Bar] = []
    for _, group in groupby(bars, key=lambda bar: (bar.kind, bar.section, bar.new is None)):
        these = list(group)
        if these[0].kind == "remixed" and these[0].new is not None:
            these = _why(these, guides, sung)
        explained += these
    return explained


def _why(bars: list[Bar], guides: Guides, sung: Sequence[Span]) -> list[Bar]:
    """Bars in a row that lie sample on sample and differ, with the reason for it; their level says nothing."""
    grid, a4_hz = guides.grid, guides.song.tuning.a4_hz
    first, last = bars[0], bars[-1]
    assert first.new is not None
    assert last.new is not None
    lag_s = first.new.start_s - first.old.start_s
    span = Span(first.old.start_s, last.old.end_s)
    before = chroma_of_part(guides.old, grid, span, a4_hz=a4_hz)
    shifted = Grid(grid.meter, grid.anchor_beats, tuple(s + lag_s for s in grid.anchor_s))
    after = chroma_of_part(guides.new, shifted, Span(first.new.start_s, last.new.end_s), a4_hz=a4_hz)
    semitones = turned_semitones(before, after, _same_beats(before.beats, after.beats))
    if semitones:
        return [replace(bar, kind="key", pitch_cents=100.0 * semitones, gain_db=None) for bar in bars]
    if sung_anew(guides.old, guides.new, span, lag_s, sung):
        return [replace(bar, kind="re-sung", gain_db=None, inverted=False) for bar in bars]
    return [replace(bar, gain_db=None, inverted=False) for bar in bars]


def _same_beats(old: Array, new: Array) -> list[tuple[int, int]]:
    where = {round(beat): j for j, beat in enumerate(new)}
    return [(i, where[round(beat)]) for i, beat in enumerate(old) if round(beat) in where]


def _at_another_speed(bars: list[Bar], speed: float, guides: Guides, progress: Progress) -> Placed | None:
    """The bars found in the new guide brought back to the old speed, and that speed exactly; None if they are not."""
    progress(0.0, "bringing the new guide back to the old speed")
    edges_s = _edges_s(bars)
    quarters_s = np.interp(np.arange(4 * len(bars) + 1) / 4, np.arange(len(bars) + 1), edges_s)
    speed = _exact_speed(speed)
    for _ in range(_TRIES_AT_SPEED):
        slowed = Audio(soxr.resample(guides.new.y.T, 1.0, speed, quality="VHQ").T, guides.new.sr)
        copies = find_copies(guides.old, slowed, quarters_s)
        if _share(copies) < _ENOUGH_COPIED:
            return None
        drift = _drift(copies, quarters_s)
        if abs(drift) < 1e-7:
            break
        speed /= 1.0 + drift
    copies = find_copies(guides.old, slowed, edges_s)
    if _share(copies) < _ENOUGH_COPIED:
        return None
    brought = _copied(bars, copies, replace(guides, new=slowed), part_of(progress, 0.5, 1.0))
    return Placed([_at_speed(bar, speed) for bar in brought], speed, 1200.0 * float(np.log2(speed)))


def _followed(bars: list[Bar], guides: Guides, progress: Progress) -> Placed:
    """What happened to each bar where the sound itself is not the same; and tempo ratio and pitch of the whole."""
    progress(0.0, "finding the beats of the new guide")
    grid, new = guides.grid, guides.new
    try:
        heard = find_grid(new, progress=part_of(progress, 0.0, 0.3))
    except NoBeatError:
        return Placed(bars)
    theirs = _counted_alike(heard.grid, grid)
    same_tempo = _SAME_TEMPO if heard.tempo.steady and guides.song.tempo.steady else _SAME_WANDERING_TEMPO
    tuning = find_tuning(new)
    before = beat_chroma(guides.old, grid, a4_hz=guides.song.tuning.a4_hz)
    half = theirs.moved(0.5)
    options = [(follow_beats(before, beat_chroma(new, g, a4_hz=tuning.a4_hz)), g) for g in (theirs, half)]
    found, theirs = max(options, key=lambda option: option[0].gain)
    ratio = _usual_bpm(theirs, new.duration_s) / _usual_bpm(grid, guides.old.duration_s)
    cents = _nearest_octave(100.0 * found.semitones + tuning.cents - guides.song.tuning.cents, 0.0)
    speed_cents = 1200.0 * float(np.log2(ratio))
    with_speed = _nearest_octave(cents, speed_cents)
    if abs(ratio - 1.0) > _SAME_TEMPO and abs(with_speed - speed_cents) <= _SPEED_CENTS:
        speed = float(cents_to_ratio(with_speed))
        brought = _at_another_speed(bars, speed, guides, part_of(progress, 0.5, 1.0))
        if brought is not None:
            return brought
    if not found.same_song:
        return Placed(bars)
    beats = grid.beats_in(0.0, guides.old.duration_s)[:-1]
    numbers = theirs.beats_in(0.0, new.duration_s)[:-1]
    places = {round(float(beats[i])): float(numbers[j]) for i, j in found.pairs}
    if abs(ratio - 1.0) <= same_tempo:
        ratio = 1.0
    if abs(cents) <= _SAME_PITCH_CENTS:
        cents = 0.0
    kind: Kind = "tempo" if ratio != 1.0 else "key" if cents else "replayed"
    fate = replace(bars[0], kind=kind, tempo_ratio=ratio, pitch_cents=cents)
    return Placed([_placed_by_beats(bar, places, grid, theirs, fate) for bar in bars], ratio, cents)


def _usual_bpm(grid: Grid, end_s: float) -> float:
    """The median tempo of the beats: a cut in the song leaves it as it is."""
    gaps_s = np.diff(grid.beat_to_sec(grid.beats_in(0.0, end_s)))
    return 60.0 / float(np.median(gaps_s)) if gaps_s.size else grid.mean_bpm


def _nearest_octave(cents: float, about: float) -> float:
    """The pitch an octave or more away that is nearest to another."""
    return (cents - about + 600.0) % 1200.0 - 600.0 + about


def _counted_alike(theirs: Grid, grid: Grid) -> Grid:
    """The new guide's beats counted as the old guide's are, half and double time aside."""
    apart = [abs(np.log(theirs.mean_bpm * float(factor) / grid.mean_bpm)) for factor in _RATIOS]
    return theirs.counted_times(_RATIOS[int(np.argmin(apart))]).with_meter(grid.meter)


def _exact_speed(ratio: float) -> float:
    """The speed of a file at a wrong sampling rate where the tempo is as near to it as tempo is known."""
    usual = (48000 / 44100, 44100 / 48000)
    near = min(usual, key=lambda speed: abs(ratio / speed - 1.0))
    return near if abs(ratio / near - 1.0) < _SAME_TEMPO else ratio


def _at_speed(bar: Bar, speed: float) -> Bar:
    """A bar found in the new guide at the old speed, as it is in the file."""
    if bar.new is None:
        return bar
    return replace(
        bar,
        kind="tempo" if bar.kind in ("identical", "moved", "level", "tempo") else bar.kind,
        new=Span(bar.new.start_s / speed, bar.new.end_s / speed),
        moved_samples=None,
        tempo_ratio=speed,
        pitch_cents=bar.pitch_cents + 1200.0 * float(np.log2(speed)),
    )


def _placed_by_beats(bar: Bar, places: dict[int, float], grid: Grid, theirs: Grid, fate: Bar) -> Bar:
    """A bar where most of its beats were followed to, with the kind, tempo and pitch of `fate`."""
    first = grid.bar_to_beat(bar.number)
    shifts = [places[b] - b for b in range(round(first), round(first) + grid.meter.beats_per_bar) if b in places]
    if 2 * len(shifts) < grid.meter.beats_per_bar:
        return bar
    shift = float(np.median(shifts))
    start, end = (float(theirs.beat_to_sec(grid.sec_to_beat(s) + shift)) for s in (bar.old.start_s, bar.old.end_s))
    return replace(fate, number=bar.number, section=bar.section, old=bar.old, new=Span(max(0.0, start), end))
