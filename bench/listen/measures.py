"""How far what was found agrees with what is true; beats, keys and chords by mir_eval, the rest as defined here.

A measure that does not apply to a song is not in its result. Nothing is trimmed from the beats.
"""

from __future__ import annotations

import mir_eval
import numpy as np

from obbligato.listen.songmap import SongMap
from obbligato.music.harmony import pitch_class

from .spec import Truth

RATIOS = (1.0, 0.5, 2.0, 1.0 / 3.0, 3.0, 2.0 / 3.0, 1.5, 0.25, 4.0, 0.75, 4.0 / 3.0)
"""What a tempo may be counted as, against the annotation."""

SAME_TEMPO = 0.005
"""Share by which an alternative may differ from the truth (songs that are not steady: ten times that)."""

BAR_1_WITHIN_S = 0.07
FRAME_S = 0.01
OPENING_BEATS = 2.0
OPENING_WITHIN_BEATS = 0.5


def scored(found: SongMap, truth: Truth) -> dict[str, float]:
    """Every measure that applies; verdicts are 0 or 1."""
    out = _tempo(found, truth)
    out["metre"] = float((found.meter.beats_per_bar, found.meter.beat_unit) == (truth.beats_per_bar, truth.beat_unit))
    out["bar 1"] = float(abs(found.grid.bar_1_s - truth.bar_1_s) <= BAR_1_WITHIN_S)
    out["bar 1 ms"] = (found.grid.bar_1_s - truth.bar_1_s) * 1000.0
    if truth.clicks:
        out["count-in"] = float(found.count_in is not None)
        out["clicks"] = float(found.count_in is not None and found.count_in.clicks == truth.clicks)
    else:
        out["false count-in"] = float(found.count_in is not None)
    if truth.has_pitch:
        out["tuning"] = abs(found.tuning.cents - truth.cents)
    out |= _keys(found, truth)
    out |= chord_scores([(c.start_s, c.end_s, c.label) for c in found.chords], truth)
    out |= _voice(found, truth)
    return out | {
        "tempo confidence": found.tempo.confidence,
        "metre confidence": found.meter.confidence,
        "key confidence": found.keys[0].confidence if found.keys else 0.0,
    }


def beat_scores(beats_s: np.ndarray, truth: Truth) -> dict[str, float]:
    """F at 70 and at 20 ms from bar 1 (a tenth of a second before) to the end of the last bar."""
    true = np.asarray(truth.beats_s)
    heard = np.sort(beats_s[(beats_s > true[0] - 0.1) & (beats_s < truth.end_s - 0.1)])
    f = {w: mir_eval.beat.f_measure(true, heard, f_measure_threshold=w) if heard.size else 0.0 for w in (0.07, 0.02)}
    return {"beats 70": float(f[0.07]), "beats 20": float(f[0.02])}


def tempo_ratio(bpm: float, truth: Truth) -> float:
    """What the tempo was counted as, against the truth: the nearest of `RATIOS`."""
    return min(RATIOS, key=lambda r: abs(np.log(bpm / (truth.bpm * r))))


def _tempo(found: SongMap, truth: Truth) -> dict[str, float]:
    beats = np.asarray(found.grid.beats_s)
    out = beat_scores(beats, truth)
    ratio = tempo_ratio(found.tempo.bpm, truth)
    wide = SAME_TEMPO * (1.0 if truth.steady else 10.0)
    counts = (found.tempo.bpm, *found.tempo.alternatives)
    out["verdict"] = float(found.tempo.steady == truth.steady)
    out["octave"] = float(ratio == 1.0 and abs(found.tempo.bpm / truth.bpm - 1.0) < 0.1)
    out["octave listed"] = float(any(abs(bpm / truth.bpm - 1.0) <= wide for bpm in counts))
    if truth.steady:
        out["bpm error"] = abs(found.tempo.bpm / ratio - truth.bpm)
        out["offset ms"] = 1000.0 * abs(_offset_s(beats, np.asarray(truth.beats_s), ratio))
    return out


def _offset_s(found: np.ndarray, true: np.ndarray, ratio: float) -> float:
    """Median distance of the sparser beats from the nearest of the denser."""
    sparse, dense = (true, found) if ratio >= 1.0 else (found[(found > true[0] - 0.1) & (found < true[-1])], true)
    if sparse.size == 0 or dense.size == 0:
        return 1.0
    nearest = dense[np.argmin(np.abs(sparse[:, None] - dense[None, :]), axis=1)]
    return float(np.median(nearest - sparse))


def _keys(found: SongMap, truth: Truth) -> dict[str, float]:
    if not truth.keys:
        return {}
    heard = [(k.start_s, k.tonic, k.mode) for k in found.keys]
    out = key_scores(heard[0][1:] if heard else None, truth)
    bar_s = float(np.median(np.diff(truth.downbeats_s)))
    for (start, tonic, mode), before in zip(truth.keys[1:], truth.keys, strict=False):
        same = [h for h in heard[1:] if (pitch_class(h[1]), h[2]) == (pitch_class(tonic), mode)]
        out["key change"] = float(any(abs(h[0] - start) <= bar_s * 1.05 for h in same))
        assert before[1:] != (tonic, mode)
    out["needless key changes"] = float(max(0, len(heard) - len(truth.keys)))
    return out


def key_scores(heard: tuple[str, str] | None, truth: Truth) -> dict[str, float]:
    """Key of the opening section: exact, and by the weights of MIREX."""
    if heard is None or not truth.keys:
        return {"key": 0.0, "key weighted": 0.0} if truth.keys else {}
    _, tonic, mode = truth.keys[0]
    exact = (pitch_class(heard[0]), heard[1]) == (pitch_class(tonic), mode)
    return {
        "key": float(exact),
        "key weighted": float(mir_eval.key.weighted_score(f"{tonic} {mode}", f"{heard[0]} {heard[1]}")),
    }


def chord_scores(heard: list[tuple[float, float, str]], truth: Truth) -> dict[str, float]:
    """Weighted accuracies over the song from bar 1 to the end of the last bar."""
    true = [(a, b, label) for a, b, label in truth.chords if b - a > 1e-3]
    if not heard:
        return {"majmin": 0.0, "sevenths": 0.0}
    intervals, labels = np.array([t[:2] for t in true]), [t[2] for t in true]
    found, names = mir_eval.util.adjust_intervals(
        np.array([h[:2] for h in heard]), [h[2] for h in heard], intervals.min(), intervals.max(), "N", "N"
    )
    merged, a, b = mir_eval.util.merge_labeled_intervals(intervals, labels, found, names)
    lengths = mir_eval.util.intervals_to_durations(merged)
    score = mir_eval.chord.weighted_accuracy
    return {
        "majmin": float(score(mir_eval.chord.majmin(a, b), lengths)),
        "sevenths": float(score(mir_eval.chord.sevenths(a, b), lengths)),
    }


def _voice(found: SongMap, truth: Truth) -> dict[str, float]:
    times = np.arange(truth.bar_1_s, truth.end_s, FRAME_S)
    heard = _inside(times, [(v.start_s, v.end_s) for v in found.voice])
    sung = _inside(times, truth.voice)
    out = {"singer": float(np.mean(heard == sung))}
    if not truth.voice:
        return out | {"false singing": float(heard.mean())}
    hits = float(np.sum(heard & sung))
    out["singer F"] = 2.0 * hits / max(1.0, float(heard.sum() + sung.sum()))
    wanted = _openings(truth)
    beats = _beat_clock(truth)
    got = [(float(beats(o.start_s)), float(beats(o.end_s))) for o in found.openings]
    got = [o for o in got if o[1] - o[0] >= OPENING_BEATS]
    near = [[max(abs(g[0] - w[0]), abs(g[1] - w[1])) <= OPENING_WITHIN_BEATS for g in got] for w in wanted]
    out["openings right"] = float(sum(any(row) for row in near))
    out["openings true"], out["openings found"] = float(len(wanted)), float(len(got))
    total = len(wanted) + len(got)
    out["openings F"] = 2.0 * out["openings right"] / total if total else 1.0
    return out


def _openings(truth: Truth) -> list[tuple[float, float]]:
    """What lies between sung spans from bar 1 to the end of the last bar, in true beats, of two beats or more."""
    beats = _beat_clock(truth)
    ends = [truth.bar_1_s, *(max(truth.bar_1_s, b) for _, b in truth.voice)]
    starts = [*(a for a, _ in truth.voice), truth.end_s]
    gaps = [(float(beats(a)), float(beats(b))) for a, b in zip(ends, starts, strict=True)]
    return [g for g in gaps if g[1] - g[0] >= OPENING_BEATS]


def _beat_clock(truth: Truth):
    times = np.array([*truth.beats_s, truth.end_s])
    gap = float(np.median(np.diff(times)))
    times = np.concatenate([times[0] - gap * np.arange(16, 0, -1), times, times[-1] + gap * np.arange(1, 16)])
    return lambda t: np.interp(t, times, np.arange(times.size) - 16.0)


def _inside(times: np.ndarray, spans) -> np.ndarray:
    out = np.zeros(times.size, dtype=bool)
    for start, end in spans:
        out[np.searchsorted(times, start) : np.searchsorted(times, end)] = True
    return out
