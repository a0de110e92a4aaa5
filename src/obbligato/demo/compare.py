"""What was found beside what is true of the invented song, line by line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from obbligato.demo.making import DemoSong
from obbligato.job.choosing import Comp
from obbligato.job.delivery import Pack
from obbligato.job.intake import guide_audio
from obbligato.job.store import JobFolder
from obbligato.listen.songmap import SongMap
from obbligato.sound.files import read_audio
from obbligato.sound.intake import source_facts
from obbligato.units import seconds_to_clock

BPM_WITHIN = 0.005
BAR_1_WITHIN_S = 0.010
TUNING_WITHIN_CENTS = 2.0
OPENING_WITHIN_BEATS = 0.5
SMALLEST_OPENING_BEATS = 2.0
FALSE_FLAGS_WITHIN = 3
"""About one in five take-minutes, over five takes of more than three minutes."""
FLAGS_FOR = {
    "late": {"late"},
    "flat": {"flat"},
    "wrong_note": {"wrong_note"},
    "missed_note": {"missed_note"},
    "clipped": {"clipped"},
    "click_bleed": {"click_bleed"},
    "cough": {"noise"},
    "level_drop": {"level_drop", "quiet"},
    "not_covered": {"missed_note", "cut_head", "cut_tail"},
}
"""The flags that name each kind of planted fault."""
UNTAGGED_MP3_DELAY = 1105
"""576 samples of encoder and 529 of decoder delay: the value found by cross-correlation with FFmpeg and mpg123."""


@dataclass(frozen=True)
class Compared:
    """One line of the table: what, the truth, what was found, and whether that is right."""

    what: str
    truth: str
    found: str
    right: bool


def compare_intake(song: DemoSong) -> tuple[Compared, ...]:
    """The two MP3 forms of the guide: one that declares its encoder delay, one that does not."""
    wav_frames = read_audio(song.guide_wav).n_samples
    rows = []
    for path in (song.guide_mp3, song.guide_mp3_untagged):
        audio = read_audio(path)
        facts = source_facts(path, audio)
        if path == song.guide_mp3:
            what, truth = "MP3 with delay tag", f"{wav_frames} frames"
            found, right = f"{audio.n_samples} frames", audio.n_samples == wav_frames
        else:
            what, truth = "MP3 without it", f"{UNTAGGED_MP3_DELAY} samples late"
            said = any(f"{UNTAGGED_MP3_DELAY} samples" in warning for warning in facts.warnings)
            found = f"{facts.encoder_delay_samples} samples late, {'and says so' if said else 'not said'}"
            right = facts.encoder_delay_samples == UNTAGGED_MP3_DELAY and said
        rows.append(Compared(what, truth, found, right))
    return tuple(rows)


def compare_map(found: SongMap, truth: dict[str, Any]) -> tuple[Compared, ...]:
    """Tempo, bar 1, count-in, metre, tuning, keys, openings."""
    bpm, bar_1_s = truth["tempo"]["bpm"], truth["grid"]["bar_1_s"]
    clicks = truth["count_in"]["clicks"]
    cents = truth["tuning"]["cents"]
    meter = truth["meter"]
    return (
        Compared(
            "tempo",
            f"{bpm:.3f} bpm, steady",
            f"{found.tempo.bpm:.3f} bpm, {'steady' if found.tempo.steady else 'not steady'}",
            abs(found.tempo.bpm - bpm) <= BPM_WITHIN and found.tempo.steady,
        ),
        Compared(
            "metre",
            f"{meter['beats_per_bar']} {meter['beat_unit']}s a bar",
            f"{found.meter.beats_per_bar} {found.meter.beat_unit}s a bar",
            (found.meter.beats_per_bar, found.meter.beat_unit) == (meter["beats_per_bar"], meter["beat_unit"]),
        ),
        Compared(
            "bar 1",
            seconds_to_clock(bar_1_s),
            f"{seconds_to_clock(found.grid.bar_1_s)} ({(found.grid.bar_1_s - bar_1_s) * 1000:+.1f} ms)",
            abs(found.grid.bar_1_s - bar_1_s) <= BAR_1_WITHIN_S,
        ),
        Compared(
            "count-in",
            f"{clicks} clicks",
            f"{found.count_in.clicks} clicks" if found.count_in else "none",
            found.count_in is not None and found.count_in.clicks == clicks,
        ),
        Compared(
            "tuning",
            f"{cents:+.1f} cents",
            f"{found.tuning.cents:+.1f} cents",
            abs(found.tuning.cents - cents) <= TUNING_WITHIN_CENTS,
        ),
        _compare_keys(found, truth),
        *_compare_openings(found, truth),
    )


def compare_comp(comp: Comp, truth: dict[str, Any]) -> tuple[Compared, ...]:
    """Planted faults that were flagged, and phrases given to a take that carries none there."""
    assessment = comp.assessment
    notes = assessment.line.notes
    spans = {p.index: (notes[p.first_note].start_s, notes[p.last_note].end_s) for p in assessment.line.phrases}
    planted = [(take["name"], fault) for take in truth["takes"] for fault in take["faults"]]
    flags = {
        (_take_name(comp, take.path), phrase.index): set(phrase.flags)
        for take in assessment.takes
        for phrase in take.phrases
        if phrase.flags
    }
    flagged = set(flags)

    def phrases_hit(fault: dict[str, Any]) -> list[int]:
        return [i for i, (start_s, end_s) in spans.items() if fault["start_s"] < end_s and fault["end_s"] > start_s]

    missed = [
        f"{name} {fault['kind']}"
        for name, fault in planted
        if not any((name, phrase) in flagged for phrase in phrases_hit(fault))
    ]
    n_named = sum(
        any(FLAGS_FOR[fault["kind"]] & flags.get((name, phrase), set()) for phrase in phrases_hit(fault))
        for name, fault in planted
    )
    faulty = {(name, phrase) for name, fault in planted for phrase in phrases_hit(fault)}
    chosen = [(_take_name(comp, choice.take), choice.phrase) for choice in assessment.choice]
    wrong = [f"phrase {phrase + 1}" for name, phrase in chosen if (name, phrase) in faulty]
    return (
        Compared(
            "planted faults",
            f"{len(planted)} in {len(truth['takes'])} takes",
            f"{len(planted) - len(missed)} flagged, {n_named} by their right name"
            + (f"; missed: {', '.join(missed)}" if missed else ""),
            not missed,
        ),
        Compared(
            "phrases without a fault",
            f"{len(spans) * len(assessment.takes) - len(faulty)}",
            f"{len(flagged - faulty)} flagged",
            len(flagged - faulty) <= FALSE_FLAGS_WITHIN,
        ),
        Compared(
            "chosen phrases",
            f"{len(spans)}, none with a planted fault",
            f"{len(chosen)}, " + (f"with a fault: {', '.join(wrong)}" if wrong else "none with a planted fault"),
            not wrong and len(chosen) == len(spans),
        ),
    )


def compare_delivery(job: JobFolder, pack: Pack) -> tuple[Compared, ...]:
    """The stem's rate and length against the guide's."""
    guide, stem = guide_audio(job), pack.audio[0]
    return (
        Compared(
            "delivered stem",
            f"{guide.n_samples} frames at {guide.sr} Hz",
            f"{stem.frames} frames at {stem.sample_rate} Hz",
            (stem.frames, stem.sample_rate) == (guide.n_samples, guide.sr),
        ),
        Compared(
            "proof of the pack",
            "every check good",
            f"{sum(check.ok for check in pack.checks)} of {len(pack.checks)} good",
            all(check.ok for check in pack.checks),
        ),
    )


def _compare_keys(found: SongMap, truth: dict[str, Any]) -> Compared:
    grid = found.to_grid()
    stated = [(key["first_bar"], key["tonic"], key["mode"]) for key in truth["keys"]]
    heard = [
        (1 if i == 0 else grid.position_at(key.start_s).bar, key.tonic, key.mode) for i, key in enumerate(found.keys)
    ]

    def words(keys: Sequence[tuple[int, str, str]]) -> str:
        return ", ".join(f"{tonic} {mode} from bar {bar}" for bar, tonic, mode in keys)

    return Compared("keys", words(stated), words(heard), stated == heard)


def _compare_openings(found: SongMap, truth: dict[str, Any]) -> tuple[Compared, ...]:
    grid = found.to_grid()

    def beats(start_s: float, end_s: float) -> np.ndarray:
        return grid.sec_to_beat([start_s, end_s])

    wanted = [beats(o["start_s"], o["end_s"]) for o in truth["openings"] if o["beats"] >= SMALLEST_OPENING_BEATS]
    heard = [beats(o.start_s, o.end_s) for o in found.openings]
    errors = [min((float(np.max(np.abs(h - w))) for h in heard), default=np.inf) for w in wanted]
    n_found = sum(error <= OPENING_WITHIN_BEATS for error in errors)
    false = [
        h
        for h in heard
        if h[1] - h[0] >= SMALLEST_OPENING_BEATS
        and not any(np.max(np.abs(h - w)) <= OPENING_WITHIN_BEATS for w in wanted)
    ]
    worst = max((error for error in errors if error <= OPENING_WITHIN_BEATS), default=0.0)
    return (
        Compared(
            "openings (2 beats or more)",
            f"{len(wanted)}",
            f"{n_found} within half a beat (worst {worst:.2f}), {len(false)} others",
            n_found == len(wanted) and not false,
        ),
    )


def _take_name(comp: Comp, path: str) -> str:
    """A take's name as it was given to the job."""
    return Path(comp.given_as[path]).stem
