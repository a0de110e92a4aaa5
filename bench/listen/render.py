"""A song of the bench as a sound file with its truth; made once and kept in a folder of its own."""

from __future__ import annotations

import ast
import hashlib
import re
from dataclasses import replace
from pathlib import Path

import numpy as np

import band
from obbligato.demo.guide import render_guide
from obbligato.demo.score import SONG
from obbligato.demo.tones import room
from obbligato.demo.voice import VoiceStyle
from obbligato.music.grid import Grid, Meter
from obbligato.music.harmony import note_name
from obbligato.units import A4_HZ, cents_to_ratio

from . import bank, count_ins, courses, mixes, scores, synth, tunes
from .grooves import GROOVES
from .spec import Spec, Truth
from .voices import SINGERS, joined, perform

_MADE_BY = (
    "spec",
    "courses",
    "grooves",
    "bank",
    "synth",
    "mixes",
    "scores",
    "tunes",
    "count_ins",
    "voices",
    "render",
)
_TAIL_S = 3.0


def rendered(spec: Spec, cache: Path) -> tuple[Path, Truth]:
    """The song's file and truth, rendered unless it is there already."""
    here = Path(__file__).parent
    sources = [*(here / f"{name}.py" for name in _MADE_BY), here.parent / "band.py"]
    sources += [here / "pulses.py"] if "pulses" in spec.singer or "low" in spec.singer else []
    code = "".join(_meaning(source) for source in sources)
    fingerprint = hashlib.sha256((code + repr(spec)).encode()).hexdigest()[:12]
    stem = cache / f"{re.sub(r'[^A-Za-z0-9-]', '_', spec.name)}-{fingerprint}"
    path, facts = stem.with_suffix(mixes.SUFFIX.get(spec.mix, ".wav")), stem.with_suffix(".json")
    if not (path.is_file() and facts.is_file()):
        cache.mkdir(parents=True, exist_ok=True)
        y, sr, truth = {"band": _band, "demo": _demo}.get(spec.source, _written)(spec)
        mixes.write(stem, y, sr, spec.mix)
        truth.save(facts)
    return path, Truth.load(facts)


def _meaning(source: Path) -> str:
    """A module without what changes no sound: its layout and its texts."""
    tree = ast.parse(source.read_text())
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            node.body = [n for n in node.body if not (isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant))]
    return ast.dump(tree)


def _written(spec: Spec) -> tuple[np.ndarray, int, Truth]:
    """An invented song or a tune, played and sung."""
    singer = SINGERS[spec.singer]
    score = _score(spec)
    per_bar = score.groove.per_bar
    marks = count_ins.clicks(spec.count_in, per_bar)
    n_before = int(np.ceil(-min((m.beat for m in marks), default=0.0)))
    n_before = max(n_before, int(np.ceil(-min((b for b, _, _ in score.lead), default=0.0))))
    head_s = 0.1 + 0.9 * float(np.random.default_rng([spec.seed, 9]).random())
    times = courses.beat_times(spec.course, spec.bpm, n_before, score.beats, per_bar, head_s=head_s, seed=spec.seed)
    grid = Grid.from_beats(times.tolist(), n_before, Meter.from_unit_name(per_bar, score.groove.unit))
    end_s = float(times[-1])
    n = round((end_s + _TAIL_S) * bank.SR)
    cents = 1200.0 * np.log2(spec.a4_hz / A4_HZ)
    mix = _played(spec, score, grid, n / bank.SR)
    mix /= _level(mix, [(grid.bar_1_s, end_s)])
    voice: list[tuple[float, float]] = []
    if singer is not None and score.lines:
        sung, voice = perform(singer, score.lines, grid, n=n, sr=bank.SR, a4_hz=spec.a4_hz, seed=spec.seed)
        sung += room(sung, sr=bank.SR, rng=np.random.default_rng([spec.seed, 6])) * 0.15
        mix += sung / _level(sung, voice) * 10.0 ** (spec.voice_db / 20.0)
    mix += 2.5 * count_ins.sound(spec.count_in, marks, grid, n=n, sr=bank.SR, seed=spec.seed)
    beats = times[n_before:-1]
    truth = Truth(
        bpm=spec.bpm if spec.course in courses.STEADY else float(60.0 / np.diff(times[n_before:]).mean()),
        steady=spec.course == "steady",
        beats_s=beats.tolist(),
        downbeats_s=beats[::per_bar].tolist(),
        beats_per_bar=per_bar,
        beat_unit=score.groove.unit,
        clicks=len(marks),
        cents=float(cents),
        keys=[(float(grid.beat_to_sec(b)), tonic, mode) for b, tonic, mode in score.keys],
        chords=[(*(float(s) for s in grid.beat_to_sec([b, b + d])), label) for b, d, label in score.chords],
        voice=joined(voice),
        end_s=end_s,
    )
    if spec.course == "dropped beat":
        return *_without_beat(mix, truth, courses.dropped_beat(score.beats, per_bar)), truth_after(truth, score.beats)
    return mix, bank.SR, truth


def _score(spec: Spec) -> scores.Score:
    singer = SINGERS[spec.singer]
    lowest = None if singer is None else singer.lowest
    if spec.source == "tune":
        score = tunes.write_tune(
            spec.tune, GROOVES[spec.style], bpm=spec.bpm, seconds=spec.seconds, lowest=lowest,
            lead=spec.lead is not None, seed=spec.seed,
        )  # fmt: skip
    else:
        score = scores.write_form(
            spec.style, bpm=spec.bpm, seconds=spec.seconds, mode=spec.mode, rise=spec.rise, sevenths=spec.sevenths,
            lowest=lowest, lead=spec.lead is not None, pick_up=spec.count_in == "pick-up", seed=spec.seed,
        )  # fmt: skip
    score.close()
    return score


def _played(spec: Spec, score: scores.Score, grid: Grid, seconds: float) -> np.ndarray:
    """The band and the lead, in stereo."""
    rng = np.random.default_rng([spec.seed, 7])
    strokes = scores.band_strokes(score, rng) + [("lead", b, d, key, 88) for b, d, key in score.lead]
    scatter_s = 0.001 if spec.sound == "synth" else 0.005
    notes = []
    strummed: dict[float, int] = {}
    for part, beat, length, key, velocity in strokes:
        start, end = (float(s) for s in grid.beat_to_sec([beat, beat + length]))
        start += scatter_s * float(np.clip(rng.standard_normal(), -2.5, 2.5))
        if part == "comp" and score.groove.strum_s:
            start += score.groove.strum_s * strummed.get(beat, 0)
            strummed[beat] = strummed.get(beat, 0) + 1
        loud = velocity + int(rng.integers(-4, 5))
        notes.append(bank.Note(part, start, max(end, start + 0.05), key, loud))
    if spec.sound == "synth":
        patch = synth.PATCHES[spec.comp % len(synth.PATCHES)]
        return synth.play(notes, patch, a4_hz=spec.a4_hz, seconds=seconds, seed=spec.seed)
    programs = {"bass": spec.bass, "comp": spec.comp, "lead": spec.lead or 66}
    cents = 1200.0 * np.log2(spec.a4_hz / A4_HZ)
    return bank.play(notes, programs, cents=float(cents), seconds=seconds)


def _level(y: np.ndarray, spans: list[tuple[float, float]]) -> float:
    parts = [y[:, round(a * bank.SR) : round(b * bank.SR)] for a, b in spans]
    return max(1e-9, float(np.sqrt(np.mean(np.concatenate(parts, axis=1) ** 2))))


def _without_beat(y: np.ndarray, truth: Truth, beat: int) -> tuple[np.ndarray, int]:
    """One beat cut out of the finished mix, the ends faded into each other over 5 ms."""
    start, end = (round((truth.beats_s[k]) * bank.SR) for k in (beat, beat + 1))
    fade = np.linspace(0.0, 1.0, round(0.005 * bank.SR))
    joint = y[:, start : start + fade.size] * (1 - fade) + y[:, end : end + fade.size] * fade
    return np.concatenate([y[:, :start], joint, y[:, end + fade.size :]], axis=1), bank.SR


def truth_after(truth: Truth, n_beats: int) -> Truth:
    """The truth once `courses.dropped_beat` has been cut out."""
    beat = courses.dropped_beat(n_beats, truth.beats_per_bar)
    start, end = truth.beats_s[beat], truth.beats_s[beat + 1]

    def moved(t: float) -> float:
        return t if t < start else max(start, t - (end - start))

    return replace(
        truth,
        beats_s=[moved(t) for i, t in enumerate(truth.beats_s) if i != beat],
        downbeats_s=[moved(t) for t in truth.downbeats_s],
        keys=[(moved(t), tonic, mode) for t, tonic, mode in truth.keys],
        chords=[(moved(a), moved(b), label) for a, b, label in truth.chords],
        voice=joined([(moved(a), moved(b)) for a, b in truth.voice], gap_s=0.0),
        end_s=moved(truth.end_s),
    )


def _band(spec: Spec) -> tuple[np.ndarray, int, Truth]:
    """A song of `bench/band.py`; its bank is not tuned, so there is no tuning to find."""
    style = band.STYLES[spec.style]
    per_bar = style.beats_per_bar
    bars = 4 * round(spec.seconds * spec.bpm / 60.0 / per_bar / 4)
    n_bars = {"none": 0, "two bars": 2}.get(spec.count_in, 1)
    song = band.Song(
        spec.style,
        spec.bpm,
        bars=bars,
        count_in_bars=n_bars,
        pick_up_beats=1.0 if spec.count_in == "pick-up" else 0.0,
        head_s=0.3,
        seed=spec.seed,
    )
    beats = song.beat_times(np.arange((bars + 1) * per_bar, dtype=float))
    rng = np.random.default_rng(spec.seed)
    key = int(rng.integers(0, 12))
    progression = band._PROGRESSIONS[int(rng.integers(len(band._PROGRESSIONS)))]
    ends = song.beat_times(np.arange(0.0, (bars + 2) * per_bar, per_bar))
    chords = [
        (float(ends[bar]), float(ends[bar + 1]),
         f"{note_name(key + progression[bar % 4])}:{'min' if progression[bar % 4] in band._MINOR else 'maj'}")
        for bar in range(bars)
    ]  # fmt: skip
    at_home = progression[0] == 0
    truth = Truth(
        bpm=spec.bpm,
        steady=True,
        beats_s=beats.tolist(),
        downbeats_s=beats[::per_bar].tolist(),
        beats_per_bar=per_bar,
        beat_unit=style.beat_unit,
        clicks=n_bars * per_bar,
        cents=bank.BANK_CENTS,
        keys=[(float(beats[0]), note_name(key), "major")] if at_home else [],
        chords=chords,
        voice=[],
        end_s=float(ends[-1]),
        has_pitch=False,
    )
    audio = band.play(song)
    return audio.y.astype(np.float64), audio.sr, truth


def _demo(spec: Spec) -> tuple[np.ndarray, int, Truth]:
    """The demo's song at another tempo and pitch, by other players."""
    cents = float(1200.0 * np.log2(spec.a4_hz / A4_HZ))
    bars = {"none": 0, "two bars": 2}.get(spec.count_in, 1)
    song = replace(SONG, bpm=spec.bpm, head_s=0.2, count_in_bars=bars, tuning_cents=cents)
    singer = SINGERS[spec.singer]
    style = singer.style if singer is not None and singer.style is not None else VoiceStyle()
    guide = render_guide(song, seed=spec.seed, style=style)
    assert abs(cents_to_ratio(cents) * A4_HZ - spec.a4_hz) < 1e-6
    beats = song.grid.beat_to_sec(np.arange(song.end_beat))
    truth = Truth(
        bpm=spec.bpm,
        steady=True,
        beats_s=beats.tolist(),
        downbeats_s=beats[:: song.meter.beats_per_bar].tolist(),
        beats_per_bar=song.meter.beats_per_bar,
        beat_unit=song.meter.beat_unit,
        clicks=bars * song.meter.beats_per_bar,
        cents=cents,
        keys=[(song.grid.bar_to_sec(k.first_bar), k.tonic, k.mode) for k in song.keys],
        chords=[
            (*(float(s) for s in song.grid.beat_to_sec([c.onset_beat, c.onset_beat + c.duration_beats])), c.label)
            for c in song.chords
        ],
        voice=joined([(s.start_s, s.end_s) for s in guide.voice]),
        end_s=float(song.grid.beat_to_sec(song.end_beat)),
    )
    return guide.audio.y.astype(np.float64), guide.audio.sr, truth
