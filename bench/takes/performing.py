"""A take of a line by an invented player, with the truth about every note and the faults planted in it.

The player's own deviations (scatter of time, pitch and level, a mean lateness, phrases that wander) are part of the
truth, not faults. A note's true start is the moment its own dry sound first comes within 40 dB of its loudest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import scipy.ndimage
import scipy.signal
import soxr
from numpy.typing import NDArray

from obbligato.sound.audio import Audio
from obbligato.takes.readings import PhraseSpan, TimedLine, TimedNote

from .sources import SR, Floats, Source, sounded

GLIDE_S = 0.04
FIRST_DB = -40.0
NOTE_FAULTS = ("missed_note", "wrong_note", "extra_note")
PHRASE_FAULTS = ("late", "early", "flat", "sharp", "level_drop")
SOUND_FAULTS = ("clipped", "noise", "dropout", "click_bleed", "hum", "suppressed", "narrow")


@dataclass(frozen=True)
class Player:
    """How one plays: means and spreads, and how often notes are slurred."""

    lateness_ms: float = 0.0
    scatter_ms: float = 9.0
    wander_ms: float = 4.0
    tuning_cents: float = 0.0
    scatter_cents: float = 4.0
    scatter_db: float = 1.0
    slurs: float = 0.3
    scoops_cents: float = 0.0
    falls: float = 0.0
    vibrato: bool = True


@dataclass(frozen=True)
class Take:
    """How a take is recorded, and what goes wrong: `faults` by phrase; the rest over the whole take.

    Attributes
    ----------
    offset_s
        The file's first sample on the guide's time.
    lost
        Blocks lost: seconds on the guide's time, and samples.
    named_sr
        What the file's head says, if not the truth.
    click_db, guide_db
        Bleed of the click, of the guide, against the playing's usual level; None for none.
    air_s
        From the headphones to the microphone.
    from_s, to_s
        The part of the song that is recorded; None for all of it.
    """

    player: Player = Player()
    sr: int = 48000
    named_sr: int | None = None
    offset_s: float = 0.0
    drift_ppm: float = 0.0
    lost: tuple[tuple[float, int], ...] = ()
    room_dbfs: float = -66.0
    reverb_s: float = 0.0
    click_db: float | None = None
    guide_db: float | None = None
    air_s: float = 0.001
    from_s: float | None = None
    to_s: float | None = None
    faults: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True)
class TrueNote:
    """What was played for a note of the line: `kind` is played, missed or wrong; seconds on the guide's time."""

    index: int
    kind: str
    start_s: float
    end_s: float
    cents: float
    slurred: bool


@dataclass(frozen=True)
class Performed:
    """A take and what is true of it."""

    audio: Audio
    notes: tuple[TrueNote, ...]
    extra: Mapping[int, int]
    take: Take


def perform(
    line: TimedLine,
    source: Source,
    take: Take,
    rng: np.random.Generator,
    *,
    guide: Floats | None,
    click: Floats | None,
) -> Performed:
    """Render a take; `guide` and `click` are what bleeds, one channel at `SR` from the guide's start."""
    length_s = line.notes[-1].end_s + 3.5
    stage = _Stage(np.zeros(round(length_s * SR)), source, take, rng)
    for phrase in line.phrases:
        _play_phrase(stage, line, phrase)
    y = stage.y
    y *= 0.14 / max(float(np.percentile(np.abs(y[np.abs(y) > 1e-4]), 90)), 1e-6)
    if take.reverb_s:
        y = _in_a_room(y, take.reverb_s, rng)
    usual = float(np.sqrt(np.mean(y[np.abs(y) > 0.01] ** 2)))
    for bleed, db in ((click, take.click_db), (guide, take.guide_db)):
        if bleed is not None and db is not None:
            late = round(take.air_s * SR)
            y[late:] += bleed[: len(y) - late] * usual * 10 ** (db / 20) / _loudness(bleed)
    _damage(y, line, take, rng, click=click, usual=usual)
    y += rng.normal(size=len(y)) * 10 ** (take.room_dbfs / 20)
    y = _recorded(y, take, rng)
    for kind, here in _stretches(line, take, take.sr):
        if kind == "clipped":
            ceiling = 0.55 * float(np.abs(y[here]).max(initial=0.0))
            y[here] = np.clip(y[here], -ceiling, ceiling)
    return Performed(
        Audio(np.clip(y, -1, 1).astype(np.float32), take.named_sr or take.sr), tuple(stage.notes), stage.extra, take
    )


@dataclass(eq=False)
class _Stage:
    """What sounds so far, and what is true of it."""

    y: Floats
    source: Source
    take: Take
    rng: np.random.Generator
    notes: list[TrueNote] = field(default_factory=list)
    extra: dict[int, int] = field(default_factory=dict)


def _play_phrase(stage: _Stage, line: TimedLine, phrase: PhraseSpan) -> None:
    rng, player, fault = stage.rng, stage.take.player, stage.take.faults.get(phrase.index, "")
    written = line.notes[phrase.first_note : phrase.last_note + 1]
    odd = int(rng.integers(1, len(written) - 1))
    if fault == "extra_note":
        odd = max(range(len(written)), key=lambda k: written[k].end_s - written[k].start_s)
    late_ms = player.lateness_ms + rng.normal() * player.wander_ms
    late_ms += {"late": rng.uniform(60, 130), "early": -rng.uniform(60, 130)}.get(fault, 0.0)
    cents = player.tuning_cents + {"flat": -rng.uniform(25, 45), "sharp": rng.uniform(25, 45)}.get(fault, 0.0)
    level_db = -rng.uniform(7, 10) if fault == "level_drop" else 0.0
    starts_s = [note.start_s + (late_ms + rng.normal() * player.scatter_ms) / 1e3 for note in written]
    group: list[_Played] = []
    for k, note in enumerate(written):
        after_s = starts_s[k + 1] if k + 1 < len(written) else np.inf
        end_s = min(max(note.end_s + late_ms / 1e3, starts_s[k] + 0.06), after_s)
        kind = {"missed_note": "missed", "wrong_note": "wrong"}.get(fault, "played") if k == odd else "played"
        off = cents + rng.normal() * player.scatter_cents
        pitch = note.midi + (int(rng.choice([-2, -1, 1, 2, 3])) if kind == "wrong" else 0) + off / 100
        before = written[k - 1] if k else None
        slurred = (
            bool(group) and before is not None and before.midi != note.midi and 0 < abs(before.midi - note.midi) < 8
            and kind != "missed" and note.start_s - before.end_s < 0.08
            and round(group[-1].pitch) != round(pitch) and rng.uniform() < player.slurs
        )  # fmt: skip
        if not slurred:
            _sound_group(stage, group)
            group = []
        if kind == "missed":
            stage.notes.append(TrueNote(note.index, "missed", note.start_s, note.end_s, 0.0, False))
            continue
        gain = 10 ** ((level_db + rng.normal() * player.scatter_db) / 20)
        if fault == "extra_note" and k == odd:
            end_s = max(end_s, starts_s[k] + 0.34)
            middle_s = starts_s[k] + 0.5 * (end_s - starts_s[k])
            _sound_group(stage, group)
            one = _Played(note, kind, starts_s[k], middle_s, pitch, off, gain, False)
            other = _Played(note, "extra", middle_s, end_s, pitch + 4, off, gain, False)
            _sound_group(stage, [one])
            _sound_group(stage, [other])
            stage.extra[phrase.index] = 1
            group = []
            continue
        group.append(_Played(note, kind, starts_s[k], end_s, pitch, off, gain, slurred))
    _sound_group(stage, group)


@dataclass(frozen=True)
class _Played:
    note: TimedNote
    kind: str
    start_s: float
    end_s: float
    pitch: float
    cents: float
    gain: float
    slurred: bool


def _sound_group(stage: _Stage, group: list[_Played]) -> None:
    """Notes in one breath or bow, the pitch gliding from one to the next."""
    if not group:
        return
    y, source, player, rng = stage.y, stage.source, stage.take.player, stage.rng
    first_s, last_s = group[0].start_s, group[-1].end_s
    n = round((last_s - first_s + source.release_s) * SR)
    t = np.arange(n) / SR
    pitch, level = np.zeros(n), np.zeros(n)
    for k, one in enumerate(group):
        here = t >= one.start_s - first_s - (GLIDE_S / 2 if k else 0.0)
        if k:
            way = np.clip((t - (one.start_s - first_s) + GLIDE_S / 2) / GLIDE_S, 0, 1)
            way = 0.5 - 0.5 * np.cos(np.pi * way)
            pitch = np.where(here, pitch + (one.pitch - group[k - 1].pitch) * way, pitch)
            level = np.where(here, level + (one.gain - group[k - 1].gain) * way, level)
        else:
            pitch[:], level[:] = one.pitch, one.gain
    if player.scoops_cents and rng.uniform() < 0.4:
        pitch -= player.scoops_cents / 100 * np.exp(-t / 0.035)
    if rng.uniform() < player.falls:
        pitch -= 3.0 * np.clip((t - (last_s - first_s) + 0.09) / 0.09, 0, 1) ** 2
    if player.vibrato and source.vibrato_cents:
        rate_hz, since = rng.uniform(5.0, 6.5), np.concatenate([[0.0], t[:-1]])
        width = source.vibrato_cents * rng.uniform(0.6, 1.3) / 100
        pitch += width * np.clip((since - 0.12) / 0.25, 0, 1) * np.sin(2 * np.pi * rate_hz * t + rng.uniform(0, 6.28))
    rise = np.clip(t / source.attack_s, 0, 1) if source.attack_s else np.ones(n)
    fall = np.clip((t[-1] - t) / source.release_s, 0, 1)
    sound = sounded(source, 440.0 * 2 ** ((pitch - 69) / 12), level * np.sin(np.pi / 2 * rise) * fall, rng)
    at = max(0, round(first_s * SR))
    room = min(len(sound), len(y) - at)
    y[at : at + room] += sound[:room]
    heard_s = first_s + _first_sound_s(sound[: round(0.3 * SR)])
    for k, one in enumerate(group):
        start_s = one.start_s if k else heard_s
        if one.kind != "extra":
            stage.notes.append(TrueNote(one.note.index, one.kind, start_s, one.end_s, one.cents, bool(k)))


def _first_sound_s(sound: Floats) -> float:
    loud = np.abs(sound) > 10 ** (FIRST_DB / 20) * np.abs(sound).max(initial=1e-9)
    return float(np.argmax(loud)) / SR


def _loudness(y: Floats) -> float:
    return float(np.sqrt(np.mean(y[np.abs(y) > 0.05 * np.abs(y).max()] ** 2)))


def _in_a_room(y: Floats, reverb_s: float, rng: np.random.Generator) -> Floats:
    """Decaying noise 20 dB under the direct sound, from 8 ms on."""
    t = np.arange(round(1.2 * reverb_s * SR)) / SR
    tail = rng.normal(size=len(t)) * 10 ** (-3 * t / reverb_s) * (t > 0.008)
    tail *= 0.1 * 10 ** (6 / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return np.asarray(scipy.signal.fftconvolve(y, tail)[: len(y)])


def _stretches(line: TimedLine, take: Take, sr: int) -> list[tuple[str, slice]]:
    """Each faulty phrase with some of the rests around it, in samples of the recording."""
    found = []
    for index, kind in take.faults.items():
        phrase = line.phrases[index]
        edges = np.array([line.notes[phrase.first_note].start_s - 0.25, line.notes[phrase.last_note].end_s + 0.25])
        start_s = take.offset_s if take.from_s is None else take.from_s
        first, last = (max(0, round(float(s - start_s) * sr)) for s in edges)
        found.append((kind, slice(first, last)))
    return found


def _middle_of_longest_s(line: TimedLine, here: slice) -> float:
    """The middle of the longest note that begins in a stretch: lost sound between notes is no more than a gap."""
    notes = [note for note in line.notes if here.start <= note.start_s * SR < here.stop]
    longest = max(notes, key=lambda note: note.end_s - note.start_s)
    return (longest.start_s + longest.end_s) / 2


def _damage(
    y: Floats, line: TimedLine, take: Take, rng: np.random.Generator, *, click: Floats | None, usual: float
) -> None:
    """Faults of the sound, on the guide's time, before the recorder."""
    for kind, here in _stretches(line, Take(faults=take.faults), SR):
        n = len(y[here])
        if kind == "noise":
            long = round(rng.uniform(0.15, 0.35) * SR)
            at = here.start + round(rng.uniform(0.3, 0.6) * n)
            y[at : at + long] += rng.normal(size=long) * np.hanning(long) * usual * rng.uniform(0.5, 0.9)
        elif kind == "dropout":
            at = round(_middle_of_longest_s(line, here) * SR)
            y[at : at + round(rng.uniform(0.012, 0.03) * SR)] = 0.0
        elif kind == "click_bleed" and click is not None:
            late = round(take.air_s * SR)
            y[here] += np.roll(click, late)[here][:n] * usual * 10 ** (-16 / 20) / _loudness(click)
        elif kind == "hum":
            t = np.arange(n) / SR
            mains = sum(a * np.sin(2 * np.pi * 50 * k * t + k) for k, a in ((1, 1.0), (2, 0.6), (3, 0.5), (4, 0.2)))
            y[here] += mains * usual * 10 ** (-26 / 20) * np.hanning(n) ** 0.1


def _recorded(y: Floats, take: Take, rng: np.random.Generator) -> Floats:
    """What the recorder writes: its start and end, its clock, its lost blocks."""
    first_s = take.offset_s if take.from_s is None else take.from_s
    last = len(y) if take.to_s is None else round(take.to_s * SR)
    start = round(first_s * SR)
    y = y[start:last] if start >= 0 else np.concatenate([_room(-start, take, rng), y[:last]])
    for at_s, samples in sorted(take.lost, reverse=True):
        at = round((at_s - first_s) * SR)
        y = np.concatenate([y[:at], y[at + samples :]])
    rate = take.sr * (1.0 + take.drift_ppm * 1e-6)
    return y if rate == SR else np.asarray(soxr.resample(y, SR, rate, quality="VHQ"))


def _room(n: int, take: Take, rng: np.random.Generator) -> Floats:
    return np.asarray(rng.normal(size=n) * 10 ** (take.room_dbfs / 20))


def whole_take(y: NDArray[np.float32], kind: str, rng: np.random.Generator, sr: int) -> NDArray[np.float32]:
    """A recording spoilt from end to end: `hum`, `suppressed` (a gate) or `narrow` (a telephone's band)."""
    if kind == "narrow":
        return np.asarray(scipy.signal.sosfilt(scipy.signal.butter(6, 3400, fs=sr, output="sos"), y), np.float32)
    if kind == "suppressed":
        level = np.sqrt(scipy.ndimage.uniform_filter1d(y.astype(np.float64) ** 2, round(0.02 * sr)))
        open_ = scipy.ndimage.uniform_filter1d(
            (level > 0.05 * np.percentile(level, 95)).astype(float), round(0.01 * sr)
        )
        return np.asarray(y * open_**2, np.float32)
    t = np.arange(len(y)) / sr
    mains = rng.choice([50.0, 60.0])
    usual = float(np.sqrt(np.mean(y[np.abs(y) > 0.01] ** 2)))
    hum = sum(a * np.sin(2 * np.pi * mains * k * t + k) for k, a in ((1, 1.0), (2, 0.6), (3, 0.5), (5, 0.2)))
    return np.asarray(y + hum * usual * 10 ** (-28 / 20), np.float32)
