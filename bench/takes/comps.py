"""The comp of a set, joined and looked at from outside: steps of level, clicks and dead silence at its seams.

Level step: for the notes of the phrases on either side of a seam, the RMS of each note in both takes after the gains
proposed (by the true times of the notes); the median difference. Phrases that were planted too soft or clipped in
either take are no measure and are left out. Click: the loudest 2 ms above 2 kHz within the fade and 4 ms around it,
more than 6 dB over the loudest such 2 ms within 200 ms on either side. Dead silence: the longest run under -100 dBFS
between the first and the last note; what is shorter than 5 ms is not heard as silence.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy.signal

from obbligato.sound.audio import Audio
from obbligato.takes.assess import choose_again
from obbligato.takes.choose import Wishes
from obbligato.takes.join import Comp, join
from obbligato.takes.readings import Seam

from .performing import Performed
from .run import Result

_BLOCK_S, _HIGH_HZ, _OVER_DB = 0.002, 2000.0, 6.0
_SILENT, _SR = 1e-5, 48000
_BEST_OF_EACH = Wishes(joins=0.9)
"""More seams than are proposed usually, so that there are some to look at."""
_LEVEL = {"level_drop", "clipped"}


@dataclass(frozen=True)
class Looks:
    """What was measured at the seams of one comp: dB by seam, clicks, and milliseconds of silence."""

    level_steps_db: tuple[float, ...]
    clicks: int
    silence_ms: float


def joined(result: Result) -> tuple[Comp, dict[str, float]]:
    """The comp of a set with the best take of each phrase and the gains that were proposed, and these gains."""
    line, grid = result.the_set.written.line, result.the_set.written.grid
    first = choose_again(line, result.assessed.takes, grid=grid, wishes=_BEST_OF_EACH)
    gains = dict(first.matching_db)
    again = choose_again(line, first.takes, grid=grid, wishes=_BEST_OF_EACH, gains_db=gains)
    comp = join(
        {name: (lambda made=made: made.audio) for name, made in result.played.items()},
        again.placements,
        again.assessment.choice,
        again.assessment.seams,
        n_samples=round((line.notes[-1].end_s + 3.0) * _SR),
        sr=_SR,
        line=line,
        gains_db=gains,
    )
    return comp, gains


def look(result: Result, comp: Comp, gains_db: dict[str, float]) -> Looks:
    """Measure the seams of a comp."""
    line, sr = result.the_set.written.line, comp.audio.sr
    steps = []
    for seam in comp.seams:
        after = next(p for p in line.phrases if line.notes[p.first_note].start_s > seam.at_s)
        before = line.phrases[after.index - 1]
        indices = [
            i
            for phrase in (before, after)
            if not {result.played[t].take.faults.get(phrase.index) for t in (seam.from_take, seam.to_take)} & _LEVEL
            for i in range(phrase.first_note, phrase.last_note + 1)
        ]
        step = _level_step_db(result, seam, indices, gains_db)
        if step is not None:
            steps.append(step)
    y = comp.audio.y[0].astype(np.float64)
    high = scipy.signal.sosfilt(scipy.signal.butter(4, _HIGH_HZ, "highpass", fs=sr, output="sos"), y)
    block = round(_BLOCK_S * sr)
    power = np.mean(high[: len(high) // block * block].reshape(-1, block) ** 2, axis=1)
    clicks = sum(_clicks(power, seam) for seam in comp.seams)
    inside = y[round(line.notes[0].start_s * sr) : round(line.notes[-1].end_s * sr)]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (np.abs(inside) < _SILENT).astype(int), [0]])))
    runs = edges[1::2] - edges[::2]
    return Looks(tuple(steps), clicks, 1e3 * float(runs.max(initial=0)) / sr)


def _clicks(power: np.ndarray, seam: Seam) -> bool:
    half = seam.fade_ms / 2e3 + 0.004
    first, last = (int((seam.at_s + s) / _BLOCK_S) for s in (-half, half))
    around = round(0.2 / _BLOCK_S)
    near = np.concatenate([power[max(0, first - around) : first], power[last + 1 : last + 1 + around]])
    return bool(power[first : last + 1].max() > near.max() * 10 ** (_OVER_DB / 10))


def _level_step_db(result: Result, seam: Seam, indices: list[int], gains_db: dict[str, float]) -> float | None:
    levels = [_levels_db(result.played[name], indices, gains_db.get(name, 0.0))
              for name in (seam.from_take, seam.to_take)]  # fmt: skip
    difference = levels[1] - levels[0]
    known = difference[np.isfinite(difference)]
    return float(np.median(known)) if known.size >= 4 else None


def _levels_db(made: Performed, indices: list[int], gain_db: float) -> np.ndarray:
    truth = {note.index: note for note in made.notes}
    start_s = made.take.offset_s if made.take.from_s is None else made.take.from_s
    levels = np.full(len(indices), np.nan)
    for k, note in enumerate(truth[i] for i in indices):
        here = slice(*(round((s - start_s) * made.take.sr) for s in (note.start_s, note.end_s)))
        y = made.audio.y[0][max(0, here.start) : max(0, here.stop)]
        if note.kind == "played" and len(y) > 100:
            levels[k] = 10 * np.log10(np.mean(y.astype(np.float64) ** 2) + 1e-12) + gain_db
    return levels


def picture(result: Result, comp: Comp, path: Path) -> None:
    """A spectrogram around each seam of a comp, one above another, with the fade marked."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    seams = comp.seams[:6]
    figure, axes = plt.subplots(max(1, len(seams)), 1, figsize=(9, 2.2 * max(1, len(seams))), squeeze=False)
    for axis, seam in zip(axes[:, 0], seams, strict=False):
        _draw(axis, comp.audio, seam)
    figure.suptitle(result.the_set.name)
    figure.tight_layout()
    figure.savefig(path, dpi=80)
    plt.close(figure)


def _draw(axis, audio: Audio, seam: Seam) -> None:
    first = max(0, round((seam.at_s - 0.6) * audio.sr))
    y = audio.y[0][first : first + round(1.2 * audio.sr)].astype(np.float64)
    hz, at_s, power = scipy.signal.spectrogram(y, audio.sr, nperseg=1024, noverlap=960)
    axis.pcolormesh(at_s - 0.6, hz / 1e3, 10 * np.log10(power + 1e-14), vmin=-130, vmax=-40, cmap="gray_r")
    for edge in (-seam.fade_ms / 2e3, seam.fade_ms / 2e3):
        axis.axvline(edge, color="tab:red", linewidth=0.8)
    axis.set(ylim=(0, 12), ylabel="kHz", title=f"{seam.from_take} to {seam.to_take} at {seam.at_s:.2f} s")
