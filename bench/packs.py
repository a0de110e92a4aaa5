"""Packs with one fault each, and packs without: how many are refused with the right sentence, how many pass.

Songs are invented: another line, tempo, rate, metre and guide for each seed. A fault is made in a pack that was
written, as a slip of the hand or of another program would make it, and the checksums are made anew, so that it is
the content that has to give it away. Run it as: python bench/packs.py
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

import players
from obbligato.job.packing import Document, PackPlan, PlannedFile, Source, write_planned
from obbligato.job.profiles import Profile
from obbligato.job.proof import CHECKSUMS, NOTE_PART, Check, prove_pack
from obbligato.music.grid import Grid, Meter
from obbligato.music.line import Line, Note
from obbligato.music.phrases import find_phrases
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio, sha256_of
from obbligato.sound.rate import resample
from obbligato.sound.wav import BextInfo, read_bext, wav_bytes

PROFILES = (
    Profile(),
    Profile(bit_depth=16),
    Profile(bit_depth=32),
    Profile(channels="stereo"),
    Profile(pips=True),
    Profile(sample_rate=44100),
    Profile(sample_rate=48000, bit_depth=16, channels="mono"),
    Profile(sample_rate=96000, pips=True),
    Profile(template="{title}_{number}_{part}_{what}_{format}_v{version}"),
)


def song(seed: int, profile: Profile, *, version: int = 2, layers: int = 0) -> PackPlan:
    """An invented song: a stereo guide, a line, and it played."""
    rng = np.random.default_rng(seed)
    sr = int(rng.choice([44100, 48000]))
    meter = Meter(beats_per_bar=int(rng.integers(3, 5)))
    grid = Grid.steady(float(rng.uniform(70, 140)), float(rng.uniform(0.3, 3.0)), meter)
    timed = players.invent_line(rng, phrases=2)
    n = round((timed.notes[-1].end_s + 3.0) * sr)
    notes = tuple(
        Note(
            float(grid.sec_to_beat(t.start_s)), float(grid.sec_to_beat(t.end_s) - grid.sec_to_beat(t.start_s)), t.midi
        )
        for t in timed.notes
    )
    sources = [Source("", "the part, dry", _played(timed, rng, sr, n), "comp of takes 1 2")]
    sources += [
        Source(f"take{i}", f"take {i} whole", _played(timed, rng, sr, n), "take") for i in range(3, 3 + layers)
    ]
    if profile.pips:
        sources.append(Source("", "sync reference", _pips(grid, sr, n), "made", kind="pips"))
    part = Document("HornPart", "A4", "pdf", "the page to play from", f"page {seed} v{version}".encode(), f"{seed}")
    line = Line(notes, find_phrases(notes, grid))
    bext = BextInfo(originator="player", origination_date="2030-05-01", origination_time="10:00:00")
    return PackPlan(
        "Slow Weir", "Horn", version, profile, _guide(rng, sr, n), grid, tuple(sources), 0, line, 61, (part,), bext
    )


def _played(timed: players.TimedLine, rng: np.random.Generator, sr: int, n: int) -> Audio:
    take = resample(players.play(timed, players.Playing(), rng), sr)
    y = np.zeros((1, n), np.float32)
    y[:, : min(n, take.n_samples)] = take.y[:, :n] * np.float32(rng.uniform(0.2, 0.8) / np.abs(take.y).max())
    y[:, : round(0.2 * sr)] = 0.0
    return Audio(y, sr)


def _guide(rng: np.random.Generator, sr: int, n: int) -> Audio:
    y = rng.standard_normal((2, n)).astype(np.float32)
    return Audio(0.05 * np.cumsum(y, axis=1) / np.sqrt(np.arange(1, n + 1)).astype(np.float32), sr)


def _pips(grid: Grid, sr: int, n: int) -> Audio:
    y = np.zeros((1, n), np.float32)
    for bar in (1, 2):
        at = round(grid.bar_to_sec(bar) * sr)
        y[0, at : at + sr // 100] = 0.25 * np.sin(2 * np.pi * 1000 * np.arange(sr // 100) / sr)
    return Audio(y, sr)


def write(plan: PackPlan, root: Path) -> None:
    """The pack as planned, with a note and checksums."""
    for file in plan.files:
        write_planned(file, root)
    for i, extension in enumerate(("pdf", "txt")):
        (root / plan.name(len(plan.files) + 1 + i, NOTE_PART, extension)).write_text(f"a note, {extension}")
    sums(root)


def sums(root: Path) -> None:
    """The list of checksums, of what is there."""
    there = sorted(path for path in root.iterdir() if path.name != CHECKSUMS)
    (root / CHECKSUMS).write_text("".join(f"{sha256_of(path)}  {path.name}\n" for path in there))


@dataclass(frozen=True)
class Fault:
    """One way to spoil a pack; `said` is what one of the refusing sentences must hold."""

    name: str
    said: str
    spoil: Callable[[Path, PackPlan], None]
    keep_sums: bool = False


def _stem(plan: PackPlan) -> PlannedFile:
    return plan.files[0]


def _of(plan: PackPlan, key: str) -> PlannedFile:
    return next(file for file in plan.files if file.key == key)


def _again(
    root: Path, file: PlannedFile, audio: Audio, *, depth: int | None = None, bext: BextInfo | None = None
) -> None:
    content = wav_bytes(audio, bit_depth=depth or file.bit_depth, bext=bext or read_bext(root / file.name))
    (root / file.name).write_bytes(content)


def _with_stem(change: Callable[[Audio], Audio]) -> Callable[[Path, PackPlan], None]:
    """The stem changed, and the loudness that it states made anew, so that only its samples are wrong."""

    def spoil(root: Path, plan: PackPlan) -> None:
        file = _stem(plan)
        found = change(read_audio(root / file.name))
        changed = replace(plan, sources=(replace(plan.sources[0], audio=found), *plan.sources[1:]))
        own = replace(changed, profile=Profile(bit_depth=24)).sound_files[0].bext
        _again(root, file, found, bext=own)

    return spoil


def _samples(change: Callable[[np.ndarray, int], np.ndarray]) -> Callable[[Path, PackPlan], None]:
    return _with_stem(lambda a: Audio(np.ascontiguousarray(change(a.y.copy(), a.sr)), a.sr))


def _sounding(y: np.ndarray) -> tuple[int, int]:
    loud = np.flatnonzero(np.abs(y[0]) > 0.02 * np.abs(y).max())
    return int(loud[0]), int(loud[-1])


def _chop(y: np.ndarray, sr: int, *, head: bool) -> np.ndarray:
    first, last = _sounding(y)
    if head:
        y[:, first - sr // 50 : first + sr // 5] = 0.0
    else:
        y[:, last - sr // 5 :] = 0.0
    return y


def _click(y: np.ndarray, sr: int) -> np.ndarray:
    for at_s in np.arange(1.0, y.shape[1] / sr - 0.1, 0.6):
        at = round(at_s * sr)
        y[:, at : at + sr // 100] += 0.02 * np.sin(2 * np.pi * 1500 * np.arange(sr // 100) / sr)
    return y


def _clip(y: np.ndarray, _sr: int) -> np.ndarray:
    return np.clip(y * (1.6 / np.abs(y).max()), -1.0, 1.0)


def _another(seed: int) -> Callable[[Path, PackPlan], None]:
    """The same line played again: another take."""

    def change(audio: Audio) -> Audio:
        rng = np.random.default_rng(seed)
        y = np.roll(audio.y, 37, axis=1) * (1 + 0.2 * np.sin(np.arange(audio.n_samples) / audio.sr * 7))
        return Audio((y + 1e-3 * rng.standard_normal(y.shape) * np.abs(y)).astype(np.float32), audio.sr)

    return _with_stem(change)


def _header(root: Path, plan: PackPlan, offset: int, value: bytes) -> None:
    path = root / _stem(plan).name
    content = bytearray(path.read_bytes())
    at = content.index(b"fmt ") + 8 + offset
    content[at : at + len(value)] = value
    path.write_bytes(bytes(content))


def _resampled_header(root: Path, plan: PackPlan) -> None:
    other = 44100 if plan.sr != 44100 else 48000
    _header(root, plan, 4, other.to_bytes(4, "little"))


def _wrong_rate(root: Path, plan: PackPlan) -> None:
    file = _stem(plan)
    _again(root, file, resample(read_audio(root / file.name), 44100 if plan.sr != 44100 else 48000))


def _time_reference(root: Path, plan: PackPlan) -> None:
    file = _stem(plan)
    bext = read_bext(root / file.name)
    assert bext is not None
    _again(root, file, read_audio(root / file.name), bext=replace(bext, time_reference=plan.sr * 3600))


def _dual(root: Path, plan: PackPlan) -> None:
    file = _stem(plan)
    _again(root, file, Audio(np.repeat(read_audio(root / file.name).y[:1], 2, axis=0), plan.sr))


def _silent_channel(root: Path, plan: PackPlan) -> None:
    file = _of(plan, "mix")
    mix = read_audio(root / file.name)
    y = mix.y.copy()
    y[1] = 0.0
    _again(root, file, Audio(y, mix.sr))


def _other_guide(change: Callable[[PackPlan], Audio]) -> Callable[[Path, PackPlan], None]:
    def spoil(root: Path, plan: PackPlan) -> None:
        other = replace(plan, guide=change(plan))
        file = _of(other, "mix")
        (root / _of(plan, "mix").name).write_bytes(wav_bytes(file.audio, bit_depth=24, bext=file.bext))

    return spoil


def _earlier_guide(plan: PackPlan) -> Audio:
    """The guide with its second half a quarter of a second earlier."""
    half = plan.guide.n_samples // 2
    y = plan.guide.y.copy()
    y[:, half:] = np.roll(y[:, half:], -plan.guide.sr // 4, axis=1)
    return Audio(y, plan.guide.sr)


def _swap(root: Path, plan: PackPlan) -> None:
    one, two = (root / plan.sound_files[i].name for i in (1, 2))
    a, b = one.read_bytes(), two.read_bytes()
    one.write_bytes(b)
    two.write_bytes(a)


def _copy(root: Path, plan: PackPlan) -> None:
    (root / plan.name(99, "Horn", "wav")).write_bytes((root / _stem(plan).name).read_bytes())


def _one_byte(root: Path, plan: PackPlan) -> None:
    path = root / plan.name(len(plan.files) + 2, NOTE_PART, "txt")
    path.write_bytes(path.read_bytes()[:-1] + b"?")


def _old_stamp(root: Path, plan: PackPlan) -> None:
    name = _stem(plan).name
    (root / name).rename(root / name.replace("_v2", "_v1"))


def _depth(root: Path, plan: PackPlan) -> None:
    file = _stem(plan)
    _again(root, file, read_audio(root / file.name), depth=16 if file.bit_depth != 16 else 24)


def _move(root: Path, plan: PackPlan) -> None:
    (root / _stem(plan).name).rename(root / "01_Horn_take_v2.wav")


def _stale_part(root: Path, plan: PackPlan) -> None:
    (root / plan.files[-1].name).write_bytes(b"page of an older line")


def _other_line(root: Path, plan: PackPlan) -> None:
    assert plan.line is not None
    notes = tuple(replace(note, pitch=note.pitch + (i == 2)) for i, note in enumerate(plan.line.notes))
    file = _of(replace(plan, line=Line(notes, plan.line.phrases)), "line:mid")
    (root / file.name).write_bytes(file.content)


FAULTS = (
    Fault("one frame short", "1 frame too few", _samples(lambda y, _: y[:, :-1])),
    Fault("one frame long", "1 frame too many", _samples(lambda y, _: np.pad(y, ((0, 0), (0, 1))))),
    Fault("another take", "is not what was chosen", _another(7)),
    Fault("wrong rate", "Hz in place of", _wrong_rate),
    Fault("rate changed in the header", "Hz in place of", _resampled_header),
    Fault("wrong depth", "bits in place of", _depth),
    Fault("clipped", "is clipped", _samples(_clip)),
    Fault("a silent channel", "has a silent channel (2)", _silent_channel),
    Fault("silent", "is silent", _samples(lambda y, _: 0.0 * y)),
    Fault("mono in two channels", "2 channels in place of 1", _dual),
    Fault("polarity turned over", "turned over in polarity", _samples(lambda y, _: -y)),
    Fault("25 ms late", "25.0 ms", _samples(lambda y, sr: np.pad(y, ((0, 0), (sr // 40, 0)))[:, : y.shape[1]])),
    Fault("hidden normalisation", "dB louder", _samples(lambda y, _: y * (0.98 / np.abs(y).max()))),
    Fault("half a decibel softer", "0.50 dB softer", _samples(lambda y, _: y * 10 ** (-0.5 / 20))),
    Fault("head chopped", "something was cut off there", _samples(lambda y, sr: _chop(y, sr, head=True))),
    Fault("tail chopped", "something was cut off there", _samples(lambda y, sr: _chop(y, sr, head=False))),
    Fault("click in the stem", "holds sound that was not put there", _samples(_click)),
    Fault("wrong time reference", "carries the time stamp", _time_reference),
    Fault("mix with guide v1", "is not this guide plus file 01", _other_guide(_earlier_guide)),
    Fault(
        "mix with another song's guide",
        "is not this guide plus file 01",
        _other_guide(lambda p: _guide(np.random.default_rng(991), p.guide.sr, p.guide.n_samples)),
    ),
    Fault("layers swapped", "is not what was made for it", _swap),
    Fault("renamed", "does not belong", _move),
    Fault("old version stamp", "the stamp of an older version", _old_stamp),
    Fault("missing file", "Missing:", lambda r, p: (r / _of(p, "line:mid").name).unlink()),
    Fault("extra file", "does not belong", lambda r, _: (r / "98_Ideas.txt").write_text("ideas") and None),
    Fault("the same file twice", "The same file under several names", _copy),
    Fault("stale part", "is not the part of the newest line", _stale_part),
    Fault("another line", "is not the line", _other_line),
    Fault("a byte changed", "its bytes changed", _one_byte, keep_sums=True),
)


def spoilt(fault: Fault, seed: int, root: Path) -> list[Check]:
    """The refusing sentences for a pack with a fault."""
    plan = song(seed, Profile(), layers=2)
    write(plan, root)
    fault.spoil(root, plan)
    if not fault.keep_sums:
        sums(root)
    return [check for check in prove_pack(root, plan) if not check.ok]


def sound_packs() -> Iterator[tuple[int, Profile]]:
    """25 packs of varied profiles."""
    for seed in range(25):
        yield 100 + seed, PROFILES[seed % len(PROFILES)]


def main() -> None:
    refused = named = 0
    print(f"{'fault':32}{'refused':>8}{'named':>7}  first sentence")
    for seed, fault in enumerate(FAULTS):
        with tempfile.TemporaryDirectory() as place:
            faults = spoilt(fault, seed, Path(place))
        right = any(fault.said in check.sentence for check in faults)
        refused, named = refused + bool(faults), named + right
        first = next((c.sentence for c in faults if fault.said in c.sentence), faults[0].sentence if faults else "-")
        print(f"{fault.name:32}{'yes' if faults else 'NO':>8}{'yes' if right else 'NO':>7}  {first}")
    passed = 0
    for seed, profile in sound_packs():
        plan = song(seed, profile, layers=seed % 3)
        with tempfile.TemporaryDirectory() as place:
            write(plan, Path(place))
            faults = [check for check in prove_pack(Path(place), plan) if not check.ok]
        passed += not faults
        for check in faults:
            print(f"sound pack {seed} refused: {check.sentence}")
    print(f"\n{refused} of {len(FAULTS)} spoilt packs refused, {named} with the right sentence")
    print(f"{passed} of 25 sound packs pass")


if __name__ == "__main__":
    main()
