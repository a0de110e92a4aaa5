"""The table: every measure beside its pass mark and the plain pipeline's figure, then the faults, then the misses."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Protocol

import numpy as np

from .comps import Looks
from .measures import UNKNOWABLE, Tally
from .real import RealTally


class Counted(Protocol):
    """What the table needs of a set."""

    counted: Tally
    looks: Looks
    plain: tuple[Tally, Tally] | None


@dataclass(frozen=True)
class Line:
    """One line: what, its figure of a tally, the mark, and whether the figure must stay below it."""

    what: str
    figure: Callable[[Tally], float]
    mark: float
    at_most: bool
    form: str = ".3f"
    beside: bool = False


LINES = (
    Line("placed within 1 ms where something fixes it", lambda t: _share(t.placed_ms, 1.0), 0.95, False, beside=True),
    Line("placed more than 5 ms off, unannounced", lambda t: len(t.unannounced), 0, True, ".0f"),
    Line("notes played, missed, extra: F", lambda t: _f(t.events), 0.98, False, beside=True),
    Line("start, tongued: median error ms", lambda t: _median(np.abs(t.tongued_ms)), 5.0, True, ".2f", beside=True),
    Line("start, slurred: median error ms", lambda t: _median(np.abs(t.slurred_ms)), 15.0, True, ".2f", beside=True),
    Line("cents: median error", lambda t: _median(np.abs(t.cents)), 3.0, True, ".2f", beside=True),
    Line("cents: bias (median)", lambda t: abs(_median(t.cents)), 1.0, True, ".2f", beside=True),
    Line("planted faults found", lambda t: _ratio(t.found, t.planted), 0.95, False),
    Line("false flags a take-minute", lambda t: t.false.total() / max(t.minutes, 1e-9), 0.2, True, ".2f"),
    Line("chosen phrase free of faults where one is", lambda t: t.chosen / max(t.choosable, 1), 0.99, False),
)


def printed(done: Sequence[Counted], cost: Mapping[int, tuple[float, float, float]], real: RealTally) -> str:
    """The whole report."""
    total = summed([one.counted for one in done])
    plainly = [one.plain for one in done if one.plain]
    ours, theirs = (summed([pair[i] for pair in plainly]) for i in (0, 1))
    takes = len(total.placed_ms) + len(total.by_notes_ms)
    out = [f"{len(done)} sets, {takes} takes, {total.minutes:.1f} minutes", ""]
    out.append(f"{'measure':46s} {'now':>9s} {'mark':>9s}      {'same takes':>10s} {'plain':>9s}")
    for line in LINES:
        beside = (
            f"{line.figure(ours):10{line.form}} {line.figure(theirs):9{line.form}}" if plainly and line.beside else ""
        )
        out.append(_row(line.what, line.figure(total), line.mark, line.at_most, line.form) + beside)
    steps = [abs(step) for one in done for step in one.looks.level_steps_db]
    out.append(_row("seams: level step after matching, median dB", _median(steps), 1.0, True, ".2f"))
    out.append(_row("seams: clicks", sum(one.looks.clicks for one in done), 0, True, ".0f"))
    out.append(_row("longest dead silence ms", max(one.looks.silence_ms for one in done), 5.0, True, ".2f"))
    out += _speed(ours, theirs, cost)
    out += ["", "without a mark:"]
    out.append(
        f"seams: {len(steps)}, level step largest {max(steps, default=0.0):.2f} dB, "
        f"above 1 dB {sum(step > 1 for step in steps)}"
    )
    out.append(
        f"notes, F at 50 ms and 50 cents by mir_eval: {np.mean(total.f_mir):.3f}"
        + (f"; same takes {np.mean(ours.f_mir):.3f}, plain {np.mean(theirs.f_mir):.3f}" if plainly else "")
    )
    if total.by_notes_ms:
        far = sorted(total.by_notes_ms)
        out.append(f"placed by notes alone, {len(far)} takes: median {_median(far):.1f} ms, worst {far[-1]:.1f} ms")
    out += _recorded(real)
    out += ["", "fault: found of planted, false"]
    out += [f"  {w:16s} {total.found[w]:3d} of {total.planted[w]:3d}  {total.false[w]:3d}"
            for w in sorted({*total.planted, *total.false}) if total.planted[w] or total.false[w]]  # fmt: skip
    return "\n".join([*out, "", "misses:", *total.misses])


def summed(tallies: Sequence[Tally]) -> Tally:
    """All tallies as one."""
    total = Tally()
    for one in tallies:
        for field in fields(Tally):
            before, more = getattr(total, field.name), getattr(one, field.name)
            if isinstance(before, Counter):
                before.update(more)
            else:
                setattr(total, field.name, before + more)
    return total


def _row(what: str, value: float, mark: float, at_most: bool, form: str) -> str:
    good = value <= mark + 1e-9 if at_most else value >= mark - 1e-9
    return f"{what:46s} {value:9{form}} {'<=' if at_most else '>='} {mark:<6g} {'yes' if good else 'NO ':3s}"


def _speed(ours: Tally, theirs: Tally, cost: Mapping[int, tuple[float, float, float]]) -> list[str]:
    out = []
    for how_many, (seconds, busy_s, megabytes) in cost.items():
        figures = f"{seconds:9.1f} s ({busy_s:.1f} s of processor), {megabytes:.0f} MB"
        out.append(f"{f'{how_many} four-minute takes read and chosen':46s} {figures}")
    if theirs.minutes:
        each = [t.busy_s / t.minutes for t in (ours, theirs)]
        words = f"{each[0]:9.2f}, plain {each[1]:.1f}: {each[1] / each[0]:.0f} times as quick"
        out.append(f"{'seconds of processor a take-minute':46s} {words}")
    return out


def _recorded(real: RealTally) -> list[str]:
    if real.reason:
        return [f"recorded guitars: skipped, {real.reason}"]
    if not real.songs:
        return []
    return [
        f"recorded guitars of {real.songs} songs, band 42 dB under: placed within 1 ms "
        f"{_share(real.placed_ms, 1.0):.2f} of {len(real.placed_ms)}, worst {max(real.placed_ms):.2f} ms; "
        f"drift off by {max(real.drifts_ppm, default=0.0):.1f} ppm at most; "
        f"cut peaks found {real.clipped} of {real.songs}, falsely {real.falsely}"
    ]


def _share(values: Sequence[float], limit: float) -> float:
    return float(np.mean(np.asarray(values) <= limit)) if len(values) else float("nan")


def _median(values: Sequence[float] | np.ndarray) -> float:
    return float(np.median(values)) if len(values) else float("nan")


def _f(events: Counter[str]) -> float:
    return 2 * events["right"] / max(2 * events["right"] + events["false"] + events["not found"], 1)


def _ratio(found: Counter[str], planted: Counter[str]) -> float:
    return (found.total() - found[UNKNOWABLE]) / max(planted.total() - planted[UNKNOWABLE], 1)
