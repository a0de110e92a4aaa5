"""Proof by re-reading: a pack is opened again from disk and checked before it is called done."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from obbligato.job.names import lint
from obbligato.music.grid import Grid, Position
from obbligato.music.line import Line
from obbligato.music.midi import read_midi
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio, sha256_of
from obbligato.sound.loudness import integrated_lufs, true_peak_dbtp
from obbligato.sound.wav import read_bext, wav_bit_depth
from obbligato.units import amplitude_to_db, db_to_amplitude

FIRST_SOUND_WINDOW_S = 0.005
FIRST_SOUND_BELOW_LOUDEST_DB = 30.0
"""The first audible note is where the level first comes within this of the loudest moment: above breath and room."""
LSB_24 = 2.0**-23
MIDI_TOLERANCE_S = 0.002


@dataclass(frozen=True)
class Check:
    """One thing proved or found wrong, as a sentence."""

    ok: bool
    sentence: str


@dataclass(frozen=True)
class AudioFacts:
    """What the note states about a delivered sound file."""

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


def first_sound_s(audio: Audio) -> float | None:
    """Time of the first audible note: level within 30 dB of the file's loudest 5 ms; None for silence.

    Room tone and the breath before a note lie lower than that, an attack does not; the answer is good to 5 ms.
    """
    window = max(1, round(FIRST_SOUND_WINDOW_S * audio.sr))
    n_windows = audio.n_samples // window
    blocks = audio.y[:, : n_windows * window].reshape(audio.channels, n_windows, window)
    power = np.mean(np.square(blocks, dtype=np.float64), axis=(0, 2))
    if n_windows == 0 or power.max() <= 0.0:
        return None
    first = int(np.argmax(power >= power.max() * db_to_amplitude(-FIRST_SOUND_BELOW_LOUDEST_DB) ** 2))
    return first * window / audio.sr


def audio_facts(path: Path, role: str, grid: Grid) -> AudioFacts:
    """Facts about a written file, read from the disk."""
    audio = read_audio(path)
    first_s = first_sound_s(audio)
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
    )


def prove_stem(path: Path, *, guide: Audio, intended: Audio) -> list[Check]:
    """The stem on disk has the guide's rate and exact length, is what was decided, and starts at sample 0."""
    stem = read_audio(path)
    depth = wav_bit_depth(path)
    checks = [
        _check(
            stem.sr == guide.sr,
            f"{_short(path)} has the guide's rate, {guide.sr} Hz.",
            f"{_short(path)} has {stem.sr} Hz, the guide {guide.sr} Hz.",
        ),
        _check(
            stem.n_samples == guide.n_samples,
            f"{_short(path)} has the guide's exact length, {guide.n_samples} frames.",
            f"{_short(path)} has {stem.n_samples} frames, the guide {guide.n_samples}.",
        ),
        _check(depth >= 24, f"{_short(path)} has {depth} bits.", f"{_short(path)} has only {depth} bits."),
        _check(
            stem.y.any() and first_sound_s(stem) is not None,
            f"{_short(path)} has sound in it.",
            f"{_short(path)} is silent.",
        ),
    ]
    if stem.y.shape == intended.y.shape:
        error = float(np.max(np.abs(stem.y - intended.y), initial=0.0))
        checks.append(
            _check(
                error <= LSB_24,
                f"{_short(path)}, read back, is the comp that was chosen, sample for sample at 24 bits.",
                f"{_short(path)}, read back, differs from the comp by up to {amplitude_to_db(error):.0f} dBFS.",
            )
        )
    bext = read_bext(path)
    at_zero = bext is not None and bext.time_reference == 0
    checks.append(
        _check(
            at_zero,
            f"{_short(path)} carries the time stamp 0: it belongs at the very start of the session.",
            f"{_short(path)} carries no time stamp 0, so that an importer could misplace it.",
        )
    )
    checks.append(Check(True, _peak_sentence(path, stem)))
    return checks


def prove_mix(path: Path, *, guide: Audio, stem_path: Path, gain_db: float) -> list[Check]:
    """Guide and stem, both read from disk and summed at the stated gain, are the context mix on disk."""
    mix, stem = read_audio(path), read_audio(stem_path)
    if mix.sr != guide.sr or mix.n_samples != guide.n_samples or stem.n_samples != guide.n_samples:
        return [Check(False, f"{_short(path)} has not the guide's rate and length.")]
    expected = (guide.y + stem.y) * np.float32(db_to_amplitude(gain_db))
    error = float(np.max(np.abs(mix.y - expected)))
    return [
        _check(
            error <= 1.5 * LSB_24,
            f"{_short(path)} is the guide plus file {_number(stem_path)} and nothing else "
            f"(what is left when both are taken away: {amplitude_to_db(error):.0f} dBFS).",
            f"{_short(path)} is not guide plus file {_number(stem_path)}: {amplitude_to_db(error):.0f} dBFS is left.",
        )
    ]


def prove_line(path: Path, line: Line, grid: Grid) -> list[Check]:
    """The MIDI file on disk, by its own tempo map, starts every note of the line where the guide has it."""
    written = [(note.start_s, note.pitch) for note in read_midi(path).notes]
    expected = [(float(grid.beat_to_sec(note.onset_beat)), note.pitch) for note in line.notes]
    same_notes = [pitch for _, pitch in written] == [pitch for _, pitch in expected]
    worst_s = max((abs(a - b) for (a, _), (b, _) in zip(written, expected, strict=False)), default=0.0)
    return [
        _check(
            same_notes and worst_s <= MIDI_TOLERANCE_S,
            f"{_short(path)} has the line's {len(expected)} notes, all in place to {MIDI_TOLERANCE_S * 1000:.0f} ms.",
            f"{_short(path)}, read back, is not the line: notes lack or moved up to {worst_s * 1000:.0f} ms.",
        )
    ]


def prove_names(folder: Path) -> list[Check]:
    """Every name is safe on every system, no file is empty, and no two are the same."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    faults = [fault for path in files if (fault := lint(path.name))]
    empty = [path.name for path in files if path.stat().st_size == 0]
    digests = [sha256_of(path) for path in files]
    return [
        _check(not faults, "Every file name is safe on every system.", "; ".join(faults) + "."),
        _check(not empty, "No file is empty.", f"Empty: {', '.join(empty)}."),
        _check(len(set(digests)) == len(digests), "No file is there twice.", "Two files in the pack are identical."),
    ]


def prove_checksums(folder: Path, list_name: str) -> list[Check]:
    """Every other file's SHA-256 is in the list, and right."""
    listed = {}
    for line in (folder / list_name).read_text(encoding="utf-8").splitlines():
        digest, name = line.split("  ", 1)
        listed[name] = digest
    there = {path.name: sha256_of(path) for path in folder.iterdir() if path.name != list_name}
    return [
        _check(
            listed == there,
            f"The checksums in {list_name} are those of the files beside it.",
            f"{list_name} does not match the files beside it.",
        )
    ]


def _short(path: Path) -> str:
    """A delivered file by its number in the pack."""
    return f"File {_number(path)}"


def _number(path: Path) -> str:
    return path.name.partition("_")[0]


def _peak_sentence(path: Path, stem: Audio) -> str:
    peak = float(np.max(np.abs(stem.y), initial=0.0))
    peak_dbfs = float(amplitude_to_db(peak))
    if peak > 1.0:
        return (
            f"{_short(path)} passes full scale by {peak_dbfs:.2f} dB, as the take does; in float, so nothing is cut."
        )
    if peak >= 1.0 - LSB_24:
        return f"{_short(path)} reaches full scale, as the take does; listen there for clipping."
    return f"{_short(path)} stays below full scale ({peak_dbfs:.1f} dBFS at the highest sample)."


def _check(ok: bool | np.bool, good: str, bad: str) -> Check:
    return Check(bool(ok), good if ok else bad)
