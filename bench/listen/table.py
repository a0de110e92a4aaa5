"""The table: every measure over all songs beside its pass mark and librosa's figure, the misses, the confidences."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from . import courses
from .run import Result


@dataclass(frozen=True)
class Line:
    """One line: what, the summary of the songs' values, the pass mark, and what makes a song a miss."""

    what: str
    key: str
    summary: Callable[[np.ndarray], float]
    mark: float
    at_most: bool
    missed: Callable[[float], bool] = lambda v: v < 0.5
    among: Callable[[Result], bool] = lambda r: True
    form: str = ".3f"

    def passes(self, value: float) -> bool:
        """Whether the mark is met."""
        return value <= self.mark + 1e-9 if self.at_most else value >= self.mark - 1e-9


def _mean(v: np.ndarray) -> float:
    return float(np.mean(v))


def _median(v: np.ndarray) -> float:
    return float(np.median(v))


def _p95(v: np.ndarray) -> float:
    return float(np.percentile(v, 95.0))


def _within(limit: float) -> Callable[[np.ndarray], float]:
    return lambda v: float(np.mean(v <= limit))


def _over(limit: float) -> Callable[[float], bool]:
    return lambda v: v > limit


def _under(limit: float) -> Callable[[float], bool]:
    return lambda v: v < limit


def _drifts(r: Result) -> bool:
    return r.spec.course in courses.DRIFTING


def _steps(r: Result) -> bool:
    return r.spec.course in courses.STEPPING


def _steady(r: Result) -> bool:
    return r.spec.course == "steady"


LINES = (
    Line("steady: bpm error, median", "bpm error", _median, 0.002, True, _over(0.01), form=".4f"),
    Line("steady: bpm error, 95th percentile", "bpm error", _p95, 0.01, True, _over(0.01), form=".4f"),
    Line("steady: octave as annotated", "octave", _mean, 0.92, False, among=_steady),
    Line("steady: octave among alternatives", "octave listed", _mean, 1.0, False, among=_steady),
    Line("steady or not", "verdict", _mean, 0.97, False),
    Line("steady: grid within 10 ms", "offset ms", _within(10.0), 0.95, False, _over(10.0)),
    Line("drifting: beats F at 70 ms", "beats 70", _mean, 0.97, False, _under(0.97), _drifts),
    Line("drifting: beats F at 20 ms", "beats 20", _mean, 0.90, False, _under(0.90), _drifts),
    Line("metre", "metre", _mean, 0.92, False),
    Line("bar 1 within 70 ms", "bar 1", _mean, 0.90, False),
    Line("count-in found", "count-in", _mean, 0.95, False),
    Line("count-in: false alarms", "false count-in", _mean, 0.03, True, _over(0.5)),
    Line("tuning within 2 cents", "tuning", _within(2.0), 0.95, False, _over(2.0)),
    Line("opening key, exact", "key", _mean, 0.88, False),
    Line("opening key, MIREX weights", "key weighted", _mean, 0.92, False, _under(0.0)),
    Line("key change within a bar", "key change", _mean, 0.85, False),
    Line("chords, majmin", "majmin", _mean, 0.82, False, _under(0.7)),
    Line("singer, frame accuracy", "singer", _mean, 0.93, False, _under(0.9)),
)
OPENINGS = Line("openings of 2 beats or more, F", "openings F", _mean, 0.90, False)
"""Summed over all songs before F is taken, so that a song with many openings counts for more."""

BESIDE = (
    ("octave as annotated, all songs", "octave", lambda r: True),
    ("beats F at 70 ms, all songs", "beats 70", lambda r: True),
    ("beats F at 20 ms, all songs", "beats 20", lambda r: True),
    ("beats F at 70 ms, one change, dropped beat, pause", "beats 70", _steps),
    ("beats F at 20 ms, one change, dropped beat, pause", "beats 20", _steps),
    ("number of clicks right", "clicks", lambda r: True),
    ("sevenths", "sevenths", lambda r: True),
    ("singer F where somebody sings", "singer F", lambda r: True),
    ("called sung where nobody sings", "false singing", lambda r: True),
    ("needless key changes a song", "needless key changes", lambda r: True),
)
"""Further figures without a mark: what, key, which songs."""


def printed(results: list[Result], cost: dict[str, tuple[float, float, float]], recorded) -> str:
    """The whole report."""
    out = [f"{len(results)} songs", "", f"{'measure':38s} {'n':>3s} {'ours':>8s} {'mark':>9s}        {'librosa':>8s}"]
    missed: list[str] = []
    for line in LINES:
        mine = [r for r in results if line.key in r.ours and line.among(r)]
        if not mine:
            continue
        value = line.summary(np.array([r.ours[line.key] for r in mine]))
        other = [r.theirs[line.key] for r in mine if line.key in r.theirs]
        beside = format(line.summary(np.array(other)), line.form) if other else "-"
        out.append(_row(line, len(mine), value, beside))
        wrong = [f"{r.spec.name} ({r.ours[line.key]:.3g})" for r in mine if line.missed(r.ours[line.key])]
        if wrong and not (missed and missed[-1].endswith(", ".join(wrong))):
            missed.append(f"{line.what}: " + ", ".join(wrong))
    out += _openings(results, missed)
    for what, (seconds, busy_s, megabytes) in cost.items():
        figures = f"{seconds:8.1f} s ({busy_s:.1f} s of processor) {megabytes:8.0f} MB"
        out.append(f"four-minute song, {what:24s} {figures}")
    for name, bpm, found in recorded:
        out.append(f"{name:38s}     {found.tempo.bpm:9.4f} found, {bpm:9.4f} annotated, {found.tempo.bpm - bpm:+.4f}")
    out += ["", "without a mark:"]
    for what, key, among in BESIDE:
        mine = [r for r in results if key in r.ours and among(r)]
        if mine:
            other = [r.theirs[key] for r in mine if key in r.theirs]
            beside = f"{np.mean(other):8.3f}" if other else "       -"
            out.append(f"{what:52s} {len(mine):3d} {np.mean([r.ours[key] for r in mine]):8.3f}  librosa {beside}")
    out += ["", "misses:", *missed, *(f"{r.spec.name}: {r.error}" for r in results if r.error)]
    return "\n".join([*out, "", *_calibration(results)])


def _row(line: Line, n: int, value: float, beside: str) -> str:
    sign, good = "<=" if line.at_most else ">=", "yes" if line.passes(value) else "NO"
    return f"{line.what:38s} {n:3d} {value:8{line.form}} {sign} {line.mark:<6g} {good:3s}    {beside:>8s}"


def _openings(results: list[Result], missed: list[str]) -> list[str]:
    """F over all openings of all sung songs together."""
    sung = [r for r in results if "openings true" in r.ours]
    if not sung:
        return []
    right, true, found = (sum(r.ours[f"openings {k}"] for r in sung) for k in ("right", "true", "found"))
    f = 2.0 * right / max(1.0, true + found)
    wrong = [f"{r.spec.name} ({r.ours['openings F']:.2f})" for r in sung if r.ours["openings F"] < 0.85]
    if wrong:
        missed.append("openings: " + ", ".join(wrong))
    return [_row(OPENINGS, len(sung), f, "-")]


def _calibration(results: list[Result]) -> list[str]:
    """Of findings given about this confidence, how many are right."""
    right = {
        "tempo": ("tempo confidence", "octave"),
        "metre": ("metre confidence", "metre"),
        "key": ("key confidence", "key"),
    }
    out = [f"{'confidence':12s}" + "".join(f"{name + ': n, said, right':>28s}" for name in right)]
    edges = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 1.001)
    for low, high in pairwise(edges):
        cells = []
        for said, true in right.values():
            pairs = [(r.ours[said], r.ours[true]) for r in results if said in r.ours and true in r.ours]
            here = np.array([p for p in pairs if low <= p[0] < high]).reshape(-1, 2)
            cells.append(f"{len(here):4d} {here[:, 0].mean():6.2f} {here[:, 1].mean():6.2f}" if len(here) else "-")
        out.append(f"{low:4.2f}-{min(high, 1.0):4.2f}   " + "".join(f"{cell:>28s}" for cell in cells))
    return out
