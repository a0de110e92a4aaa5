"""Takes: the line played by a person, with faults planted where they are wanted, and recorded at home."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from scipy import signal

from obbligato.demo.brass import BlownNote, BrassStyle, blow
from obbligato.demo.player import IntendedNote, intended_notes
from obbligato.demo.song import Song
from obbligato.demo.tones import Signal, add_at, band_noise, faded, room
from obbligato.sound.audio import Audio
from obbligato.units import db_to_amplitude

FaultKind = Literal[
    "late", "flat", "wrong_note", "missed_note", "clipped", "click_bleed", "cough", "level_drop", "not_covered"
]
_LEVEL_AT_80_DBFS = -21.0
_DB_PER_VELOCITY = 0.17
_ROOM_S = 0.6
_ROOM_SHARE = 0.055
_FULL_SCALE = 1.0 - 2.0**-23


@dataclass(frozen=True)
class Fault:
    """Something wrong in one phrase of one take.

    Attributes
    ----------
    amount
        late: ms. flat: cents. wrong_note: semitones. clipped: dB over full scale. click_bleed: peak dBFS.
        cough: RMS dBFS. level_drop: dB. missed_note: not used.
    note
        Which note of the phrase, from 0: the wrong or missed one, the first of the clipped bar, the one coughed on.
    """

    phrase: int
    kind: FaultKind
    amount: float = 0.0
    note: int = 0


@dataclass(frozen=True)
class TakePlan:
    """How a take is recorded and played.

    Attributes
    ----------
    offset_s
        Where its first sample lies on the guide's time.
    drift_ppm
        Its clock against the guide's: what happens at guide time t lies at (t - offset_s) (1 + drift_ppm / 10^6).
    tuning_cents
        The player's pitch against the song's.
    scatter_ms, scatter_cents, scatter_db
        Standard deviations of a good note's start, pitch and level.
    noise_dbfs
        RMS level of the room's noise.
    after_s
        How long it goes on after the last note.
    """

    name: str
    sr: int
    offset_s: float = 0.0
    drift_ppm: float = 0.0
    tuning_cents: float = 0.0
    scatter_ms: float = 12.0
    scatter_cents: float = 5.0
    scatter_db: float = 0.8
    noise_dbfs: float = -65.0
    after_s: float = 3.0
    faults: tuple[Fault, ...] = ()
    style: BrassStyle = field(default_factory=BrassStyle)


@dataclass(frozen=True)
class PlayedNote:
    """A note as it was played, on the guide's time; `cents` against the song's tuning and the pitch sounded."""

    index: int
    phrase: int
    start_s: float
    end_s: float
    midi: int
    cents: float
    level_dbfs: float
    played: bool


@dataclass(frozen=True, eq=False)
class Take:
    """A take as sound, what was played in it, and everything wrong with it."""

    plan: TakePlan
    audio: Audio
    notes: tuple[PlayedNote, ...]

    @property
    def not_covered(self) -> tuple[int, ...]:
        """Phrases that begin before the take does."""
        return tuple(sorted({n.phrase for n in self.notes if n.start_s - 0.1 < self.plan.offset_s}))


def play_notes(song: Song, plan: TakePlan, *, rng: np.random.Generator) -> tuple[PlayedNote, ...]:
    """The line as a person plays it: scattered about what was meant, and with the plan's faults of playing."""
    played: list[PlayedNote] = []
    for note in intended_notes(song):
        start, length, cents, level = np.clip(rng.standard_normal(4), -2.5, 2.5)
        late_s, flat, drop, wrong, missed = _faults_of_playing(plan, note, song)
        start_s = note.start_s + plan.scatter_ms / 1000.0 * start + late_s
        played.append(
            PlayedNote(
                index=note.index,
                phrase=note.phrase,
                start_s=float(start_s),
                end_s=float(start_s + (note.end_s - note.start_s) * (1.0 + 0.03 * length)),
                midi=note.pitch + wrong,
                cents=float(plan.tuning_cents + plan.scatter_cents * cents + flat),
                level_dbfs=float(
                    _LEVEL_AT_80_DBFS + _DB_PER_VELOCITY * (note.velocity - 80) + plan.scatter_db * level + drop
                ),
                played=not missed,
            )
        )
    return tuple(played)


def _faults_of_playing(plan: TakePlan, note: IntendedNote, song: Song) -> tuple[float, float, float, int, bool]:
    """Lateness in s, cents, dB, semitones and whether the note is left out."""
    late_s, cents, db, semitones, missed = 0.0, 0.0, 0.0, 0, False
    first = sum(len(p) for p in song.phrases[: note.phrase])
    for fault in plan.faults:
        if fault.phrase != note.phrase:
            continue
        here = fault.note == note.index - first
        if fault.kind == "late":
            late_s += fault.amount / 1000.0
        elif fault.kind == "flat":
            cents -= fault.amount
        elif fault.kind == "level_drop":
            db -= fault.amount
        elif fault.kind == "wrong_note" and here:
            semitones += round(fault.amount)
        elif fault.kind == "missed_note" and here:
            missed = True
    return late_s, cents, db, semitones, missed


def record_take(song: Song, plan: TakePlan, *, rng: np.random.Generator) -> Take:
    """Play and record one take: mono, with the room, its noise, and the plan's faults of recording."""
    notes = play_notes(song, plan, rng=rng)
    length_s = _in_file(plan, max(n.end_s for n in notes)) + plan.after_s
    out = np.zeros(round(length_s * plan.sr))
    room_seed = int(rng.integers(2**32))
    for phrase in range(len(song.phrases)):
        blown = [
            BlownNote(_in_file(plan, n.start_s), _in_file(plan, n.end_s), n.midi + n.cents / 100.0, n.level_dbfs)
            for n in notes
            if n.phrase == phrase and n.played
        ]
        sound, at_s = blow(blown, sr=plan.sr, a4_hz=song.a4_hz, rng=rng, style=plan.style)
        ringing = np.pad(sound, (0, round(_ROOM_S * plan.sr)))
        wall_rng = np.random.default_rng(room_seed)
        walls = room(ringing[None, :], sr=plan.sr, rng=wall_rng, decay_s=0.16, length_s=_ROOM_S)[0]
        add_at(out, ringing + _ROOM_SHARE * walls, at_s, sr=plan.sr)
    out += _room_noise(out.size, plan, rng)
    for fault in plan.faults:
        _add_fault(out, fault, notes, song, plan=plan, rng=rng)
    clipped = np.clip(out, -_FULL_SCALE, _FULL_SCALE)
    return Take(plan, Audio(np.asarray(clipped, dtype=np.float32), plan.sr), notes)


def fault_span(fault: Fault, notes: tuple[PlayedNote, ...], song: Song) -> tuple[float, float]:
    """Where a fault lies on the guide's time."""
    phrase = [n for n in notes if n.phrase == fault.phrase]
    note = phrase[fault.note]
    if fault.kind in ("wrong_note", "missed_note"):
        return note.start_s, note.end_s
    if fault.kind == "cough":
        start_s = 0.5 * (note.start_s + note.end_s)
        return start_s, start_s + 0.38
    if fault.kind == "clipped":
        bar_s = song.meter.beats_per_bar * 60.0 / song.bpm
        return note.start_s, min(note.start_s + bar_s, phrase[-1].end_s)
    if fault.kind == "click_bleed":
        before_s = max((n.end_s for n in notes if n.phrase < fault.phrase), default=-np.inf)
        after_s = min((n.start_s for n in notes if n.phrase > fault.phrase), default=np.inf)
        return max(phrase[0].start_s - 1.5, before_s + 0.1), min(phrase[-1].end_s + 1.0, after_s - 0.1)
    return phrase[0].start_s, phrase[-1].end_s


def take_truth(take: Take, song: Song) -> dict[str, Any]:
    """What is true of a take, as plain JSON values; times on the guide's clock."""
    faults: list[dict[str, Any]] = []
    for fault in take.plan.faults:
        start_s, end_s = fault_span(fault, take.notes, song)
        first = sum(len(p) for p in song.phrases[: fault.phrase])
        one_note = fault.kind in ("wrong_note", "missed_note")
        faults.append(
            {
                "phrase": fault.phrase,
                "kind": fault.kind,
                "amount": fault.amount,
                "note": first + fault.note if one_note else None,
                "start_s": start_s,
                "end_s": end_s,
            }
        )
    for phrase in take.not_covered:
        whole = [n for n in take.notes if n.phrase == phrase]
        faults.append(
            {
                "phrase": phrase,
                "kind": "not_covered",
                "amount": 0.0,
                "note": None,
                "start_s": whole[0].start_s,
                "end_s": whole[-1].end_s,
            }
        )
    faulty = {f["phrase"] for f in faults}
    return {
        "name": take.plan.name,
        "sample_rate": take.plan.sr,
        "offset_ms": 1000.0 * take.plan.offset_s,
        "drift_ppm": take.plan.drift_ppm,
        "tuning_cents": take.plan.tuning_cents,
        "noise_dbfs": take.plan.noise_dbfs,
        "faults": sorted(faults, key=lambda f: f["start_s"]),
        "clean_phrases": [p for p in range(len(song.phrases)) if p not in faulty],
        "notes": [vars(n) for n in take.notes],
    }


def _in_file(plan: TakePlan, guide_s: float) -> float:
    return (guide_s - plan.offset_s) * (1.0 + plan.drift_ppm * 1e-6)


def _room_noise(n_samples: int, plan: TakePlan, rng: np.random.Generator) -> Signal:
    """Dull room noise with a trace of mains hum, at `noise_dbfs` in all."""
    sos = signal.butter(1, 500.0, fs=plan.sr, output="sos")
    white = rng.standard_normal(n_samples)
    noise = np.asarray(signal.sosfilt(sos, white)) + 0.03 * white
    t = np.arange(plan.sr) / plan.sr
    one_second = np.sin(2.0 * np.pi * 50.0 * t) + 0.5 * np.sin(2.0 * np.pi * 150.0 * t + 1.0)
    noise /= np.std(noise)
    noise += 0.2 * np.resize(one_second, n_samples)
    return np.asarray(noise * (db_to_amplitude(plan.noise_dbfs) / np.std(noise)))


def _add_fault(
    out: Signal, fault: Fault, notes: tuple[PlayedNote, ...], song: Song, *, plan: TakePlan, rng: np.random.Generator
) -> None:
    """Plant a fault of recording in the take `out`."""
    start_s, end_s = (_in_file(plan, t) for t in fault_span(fault, notes, song))
    if fault.kind == "clipped":
        first, last = round(start_s * plan.sr), round(end_s * plan.sr)
        peak = float(np.max(np.abs(out[first:last])))
        edge = np.clip(
            np.minimum(np.arange(last - first), np.arange(last - first)[::-1]) / (0.08 * plan.sr), 0.0, 1.0
        )
        out[first:last] *= 1.0 + (float(db_to_amplitude(fault.amount)) / peak - 1.0) * edge
    elif fault.kind == "cough":
        n = round((end_s - start_s) * plan.sr)
        bark = faded(band_noise(n, 350.0, 3500.0, sr=plan.sr, rng=rng), in_s=0.012, out_s=0.2, sr=plan.sr)
        add_at(out, bark, start_s, sr=plan.sr, gain=float(db_to_amplitude(fault.amount)))
    elif fault.kind == "click_bleed":
        _add_clicks(out, song, plan, start_s=start_s, end_s=end_s, peak_dbfs=fault.amount)


def _add_clicks(out: Signal, song: Song, plan: TakePlan, *, start_s: float, end_s: float, peak_dbfs: float) -> None:
    """The headphone click as a microphone hears it between two times of the take: thin, on every beat and eighth."""
    t = np.arange(round(0.04 * plan.sr)) / plan.sr
    third = 1.0 / 3.0
    first, last = (song.grid.sec_to_beat(s / (1.0 + plan.drift_ppm * 1e-6) + plan.offset_s) for s in (start_s, end_s))
    for eighth in range(int(np.ceil(3.0 * first)), int(np.floor(3.0 * last)) + 1):
        on_beat = eighth % 3 == 0
        click = np.sin(2.0 * np.pi * (2100.0 if on_beat else 1650.0) * t) * np.exp(-t / 0.005)
        at_s = _in_file(plan, float(song.grid.beat_to_sec(eighth * third)))
        gain = float(db_to_amplitude(peak_dbfs)) * (1.0 if on_beat else 0.5)
        add_at(out, faded(click, in_s=0.0005, out_s=0.01, sr=plan.sr), at_s, sr=plan.sr, gain=gain)
