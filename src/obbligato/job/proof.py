"""Proof by re-reading: a pack is opened again from disk and held against its plan before it is called done."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from obbligato.errors import InputError
from obbligato.job.names import lint
from obbligato.job.packing import PackPlan, PlannedFile
from obbligato.job.proof_words import count, deviation_words, kind_words
from obbligato.music.grid import Grid, Position
from obbligato.music.line import Line
from obbligato.music.midi import read_midi
from obbligato.sound.audio import Audio
from obbligato.sound.differing import how_different
from obbligato.sound.files import read_audio, sha256_of
from obbligato.sound.loudness import integrated_lufs, true_peak_dbtp
from obbligato.sound.wav import read_bext, wav_bit_depth
from obbligato.units import amplitude_to_db, db_to_amplitude

FIRST_SOUND_WINDOW_S = 0.005
FIRST_SOUND_BELOW_LOUDEST_DB = 30.0
"""The first audible note is where the level first comes within this of the loudest moment: above breath and room."""
LSB_24 = 2.0**-23
MIDI_TOLERANCE_S = 0.002
CHECKSUMS = "checksums.txt"
NOTE_PART = "DeliveryNote"
BEXT_WITHIN = 0.05
"""How far the loudness that a file states may be from the one measured of it, in LU or dB: it is written to 0.01."""


@dataclass(frozen=True)
class Check:
    """One thing proved or found wrong, as a sentence."""

    ok: bool
    sentence: str


@dataclass(frozen=True)
class AudioFacts:
    """What the note states about a delivered sound file.

    `first_sound_s` and `last_sound_s` are where it begins and ceases to be within 30 dB of its loudest moment.
    """

    name: str
    role: str
    sample_rate: int
    bit_depth: int
    channels: int
    frames: int
    true_peak_dbtp: float
    lufs: float
    first_sound_s: float | None
    first_sound_at: Position | None
    sha256: str
    last_sound_s: float | None = None


def sounding_s(audio: Audio) -> tuple[float, float] | None:
    """From when to when a file is within 30 dB of its loudest 5 ms, to 5 ms; None for silence.

    Room tone and the breath before a note lie lower than that, an attack does not.
    """
    window = max(1, round(FIRST_SOUND_WINDOW_S * audio.sr))
    n_windows = audio.n_samples // window
    blocks = audio.y[:, : n_windows * window].reshape(audio.channels, n_windows, window)
    power = np.mean(np.square(blocks, dtype=np.float64), axis=(0, 2))
    if n_windows == 0 or power.max() <= 0.0:
        return None
    loud = np.flatnonzero(power >= power.max() * db_to_amplitude(-FIRST_SOUND_BELOW_LOUDEST_DB) ** 2)
    return int(loud[0]) * window / audio.sr, (int(loud[-1]) + 1) * window / audio.sr


def audio_facts(path: Path, role: str, grid: Grid) -> AudioFacts:
    """Facts about a written file, read from the disk."""
    audio = read_audio(path)
    sounding = sounding_s(audio)
    first_s, last_s = sounding or (None, None)
    return AudioFacts(
        name=path.name,
        role=role,
        sample_rate=audio.sr,
        bit_depth=wav_bit_depth(path),
        channels=audio.channels,
        frames=audio.n_samples,
        true_peak_dbtp=true_peak_dbtp(audio),
        lufs=integrated_lufs(audio),
        first_sound_s=first_s,
        first_sound_at=grid.spoken_position(float(grid.sec_to_beat(first_s))) if first_s is not None else None,
        sha256=sha256_of(path),
        last_sound_s=last_s,
    )


def prove_pack(
    root: Path, plan: PackPlan, *, only: frozenset[str] | None = None, finished: bool = True
) -> list[Check]:
    """Everything that can be held against the plan: names, headers, every sample, the mix, the papers, the checksums.

    Parameters
    ----------
    only
        Keys of the files that this pack is to hold; None for all.
    finished
        Whether the note and the list of checksums are there already.
    """
    planned = [file for file in plan.files if only is None or file.key in only]
    checks = _prove_names(root, plan, planned, finished=finished)
    for file in planned:
        path = root / file.name
        if path.is_file():
            checks += _prove_file(path, file, plan, root)
    if finished:
        checks += prove_checksums(root)
    return checks


def prove_checksums(root: Path) -> list[Check]:
    """Every other file's SHA-256 is in the list, and right."""
    path = root / CHECKSUMS
    if not path.is_file():
        return [Check(False, f"{CHECKSUMS} is missing.")]
    rows = (line.split("  ", 1) for line in path.read_text(encoding="utf-8").splitlines() if "  " in line)
    listed = {name: digest for digest, name in rows}
    there = {file.name: sha256_of(file) for file in root.iterdir() if file.is_file() and file.name != CHECKSUMS}
    changed = sorted(name for name in listed.keys() & there.keys() if listed[name] != there[name])
    unlisted = sorted(there.keys() - listed.keys())
    gone = sorted(listed.keys() - there.keys())
    faults = [f"{name} is not the file whose checksum is in {CHECKSUMS}: its bytes changed" for name in changed]
    faults += [f"{name} is not in {CHECKSUMS}" for name in unlisted]
    faults += [f"{name} is in {CHECKSUMS} but not in the pack" for name in gone]
    good = f"The checksums in {CHECKSUMS} are those of the files beside it."
    return [Check(not faults, good if not faults else f"{'; '.join(faults)}.")]


def _prove_names(root: Path, plan: PackPlan, planned: list[PlannedFile], *, finished: bool) -> list[Check]:
    there = sorted(path.name for path in root.iterdir())
    wanted = {file.name for file in planned}
    notes = {plan.name(len(plan.files) + 1 + i, NOTE_PART, extension) for i, extension in enumerate(("pdf", "txt"))}
    allowed = wanted | ((notes | {CHECKSUMS}) if finished else set())
    missing = sorted((wanted | (notes if finished else set())) - set(there))
    extra = [name for name in there if name not in allowed]
    old = [name for name in extra if (v := re.search(r"_v(\d+)", name)) and int(v[1]) < plan.version]
    faults = [f"'{name}' carries the stamp of an older version than v{plan.version}" for name in old]
    faults += [f"'{name}' does not belong to the pack" for name in extra if name not in old]
    checks = [
        _check(not missing, "Every file that belongs to the pack is there.", f"Missing: {', '.join(missing)}."),
        _check(not faults, "Nothing else is in the pack.", f"{'; '.join(faults)}."),
    ]
    unsafe = [fault for name in there if (fault := lint(name))]
    empty = [name for name in there if (root / name).stat().st_size == 0]
    digests = Counter(sha256_of(root / name) for name in there)
    twice = [name for name in there if digests[sha256_of(root / name)] > 1]
    return [
        *checks,
        _check(not unsafe, "Every file name is safe on every system.", "; ".join(unsafe) + "."),
        _check(not empty, "No file is empty.", f"Empty: {', '.join(empty)}."),
        _check(not twice, "No file is there twice.", f"The same file under several names: {', '.join(twice)}."),
    ]


def _prove_file(path: Path, file: PlannedFile, plan: PackPlan, root: Path) -> list[Check]:
    if file.audio is not None:
        return prove_sound(path, file, plan, root)
    if file.kind == "line" and plan.line is not None:
        return prove_line(path, plan.line, plan.grid, file.number)
    same = path.read_bytes() == file.content
    what = kind_words(file)
    return [
        _check(same, f"{file.number} is {what}, byte for byte.", f"{file.number} is not {what} as it stands now.")
    ]


def prove_sound(path: Path, file: PlannedFile, plan: PackPlan, root: Path) -> list[Check]:
    """A sound file on disk: its header, its samples, what its bext chunk says, and for a mix the null test."""
    meant, me = file.audio, file.number
    assert meant is not None
    try:
        found, depth = read_audio(path), wav_bit_depth(path)
    except InputError as error:
        return [Check(False, f"{me} cannot be read: {error}")]
    checks = list(_header(me, found, depth, meant, file.bit_depth))
    shape_is_right = found.channels == meant.channels
    if shape_is_right:
        difference = how_different(found, meant, within=0.0)
        good = f"{me}, read back, is {kind_words(file)}, sample for sample at {file.bit_depth} bits."
        bad = f"{me} {deviation_words(difference, plan.grid, found.sr, kind_words(file))}"
        checks.append(_check(difference.kind == "none", good, bad))
    checks += _channels_and_peak(me, found, meant)
    checks += _bext(path, me, found)
    if file.kind == "mix" and shape_is_right:
        checks.append(_null_test(me, found, plan, root))
    return checks


def _header(me: str, found: Audio, depth: int, meant: Audio, bit_depth: int) -> Iterator[Check]:
    yield _check(found.sr == meant.sr, f"{me} has {found.sr} Hz.", f"{me} has {found.sr} Hz in place of {meant.sr}.")
    yield _check(
        found.n_samples == meant.n_samples,
        f"{me} has the guide's exact length, {found.n_samples} frames.",
        f"{me} has {found.n_samples} frames in place of {meant.n_samples}: "
        f"{count(abs(found.n_samples - meant.n_samples), 'frame')} too "
        f"{'few' if found.n_samples < meant.n_samples else 'many'}.",
    )
    yield _check(depth == bit_depth, f"{me} has {depth} bits.", f"{me} has {depth} bits in place of {bit_depth}.")
    yield _check(
        found.channels == meant.channels,
        f"{me} has {count(found.channels, 'channel')}.",
        f"{me} has {count(found.channels, 'channel')} in place of {meant.channels}.",
    )


def _channels_and_peak(me: str, found: Audio, meant: Audio) -> Iterator[Check]:
    silent = [i + 1 for i, y in enumerate(found.y) if not y.any()]
    words = "is silent" if len(silent) == found.channels else f"has a silent channel ({', '.join(map(str, silent))})"
    yield _check(not silent, f"{me} has sound in every channel.", f"{me} {words}.")
    if found.channels == 2:
        same, meant_same = (bool((a.y[0] == a.y[-1]).all()) for a in (found, meant))
        yield _check(
            same == meant_same or meant.channels != 2,
            f"{me} has two {'equal channels, as ordered' if same else 'channels that differ'}.",
            f"{me} is mono in two channels.",
        )
    at_top, meant_top = (int(np.sum(np.abs(a.y) >= 1.0 - LSB_24)) for a in (found, meant))
    peak = float(amplitude_to_db(np.max(np.abs(found.y), initial=0.0)))
    if at_top > meant_top:
        yield Check(
            False, f"{me} is clipped: {count(at_top - meant_top, 'sample')} at full scale that the sound has not."
        )
    elif peak > 0.0:
        yield Check(True, f"{me} passes full scale by {peak:.2f} dB, as the take does; in float, so nothing is cut.")
    elif at_top:
        yield Check(True, f"{me} reaches full scale, as the take does; listen there for clipping.")
    else:
        yield Check(True, f"{me} stays below full scale ({peak:.1f} dBFS at the highest sample).")


def _bext(path: Path, me: str, found: Audio) -> Iterator[Check]:
    bext = read_bext(path)
    if bext is None:
        yield Check(False, f"{me} is no Broadcast Wave file: it says nothing of where it belongs.")
        return
    yield _check(
        bext.time_reference == 0,
        f"{me} carries the time stamp 0: it belongs at the very start of the session.",
        f"{me} carries the time stamp {bext.time_reference} in place of 0: an importer would put it "
        f"{bext.time_reference / found.sr:.3f} s late.",
    )
    lufs, peak = integrated_lufs(found), true_peak_dbtp(found)
    stated = bext.loudness_lufs, bext.true_peak_dbtp
    ok = all(s is not None and abs(s - m) <= BEXT_WITHIN for s, m in zip(stated, (lufs, peak), strict=True))
    yield _check(
        ok,
        f"{me} states the loudness that it has, {lufs:.1f} LUFS, and its true peak, {peak:.1f} dBTP.",
        f"{me} states {stated[0]} LUFS and a true peak of {stated[1]} dBTP, but has {lufs:.2f} and {peak:.2f}.",
    )


def _null_test(me: str, mix: Audio, plan: PackPlan, root: Path) -> Check:
    """The mix on disk less guide and stem: nothing may be left; the stem is read from disk if the pack holds it."""
    planned = plan.sound_files[plan.mixed]
    stem, guide = planned.audio, plan.delivered_guide
    assert stem is not None
    if (root / planned.name).is_file():
        stem = read_audio(root / planned.name)
    the_stem = planned.number.replace("File", "file")
    if not mix.n_samples == stem.n_samples == guide.n_samples or mix.sr != guide.sr:
        return Check(False, f"{me} cannot be guide plus {the_stem}: they have not one rate and length.")
    dry = guide.y.mean(axis=0) if mix.channels < guide.channels else guide.y
    total = (dry + stem.y) * np.float32(db_to_amplitude(plan.mix[1]))
    error = float(np.max(np.abs(mix.y - total))) if total.shape == mix.y.shape else 1.0
    left = f"{amplitude_to_db(error):.0f} dBFS"
    return _check(
        error <= 1.5 * LSB_24,
        f"{me} is the guide plus {the_stem} and nothing else (what is left when both are taken away: {left}).",
        f"{me} is not this guide plus {the_stem}: {left} is left when both are taken away.",
    )


def prove_line(path: Path, line: Line, grid: Grid, me: str) -> list[Check]:
    """The MIDI file on disk, by its own tempo map, starts every note of the line where the guide has it."""
    try:
        notes = read_midi(path).notes
    except InputError as error:
        return [Check(False, f"{me} cannot be read: {error}")]
    written = [(note.start_s, note.pitch) for note in notes]
    expected = [(float(grid.beat_to_sec(note.onset_beat)), note.pitch) for note in line.notes]
    same_notes = [pitch for _, pitch in written] == [pitch for _, pitch in expected]
    worst_s = max((abs(a - b) for (a, _), (b, _) in zip(written, expected, strict=False)), default=0.0)
    return [
        _check(
            same_notes and worst_s <= MIDI_TOLERANCE_S,
            f"{me} has the line's {len(expected)} notes, all in place to {MIDI_TOLERANCE_S * 1000:.0f} ms.",
            f"{me}, read back, is not the line: "
            + (
                f"notes moved by up to {worst_s * 1000:.0f} ms."
                if same_notes
                else "notes lack or have other pitches."
            ),
        )
    ]


def _check(ok: bool | np.bool, good: str, bad: str) -> Check:
    return Check(bool(ok), good if ok else bad)
