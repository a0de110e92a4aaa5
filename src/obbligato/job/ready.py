"""The ready check of a job: what to play for it, and what a recording of that says."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from obbligato.job.intake import guide_audio
from obbligato.job.mapping import song_map
from obbligato.job.store import JobFolder
from obbligato.job.writing import current_line
from obbligato.music.remarks import bars_text
from obbligato.play.loudest import loudest_bars
from obbligato.play.ready import LIMITS, Check, Readiness, check_recording
from obbligato.play.sampling import hear_device
from obbligato.play.stream import Device
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio
from obbligato.units import midi_to_hz

TAKES, COPIES = 20, 2
"""A long day's takes, each with its second copy (common practice, no source)."""
BYTES_PER_SAMPLE, CHANNELS = 4, 2
USUAL_S = 15.0
"""Three seconds of silence and four bars at a slow tempo."""


@dataclass(frozen=True)
class ReadyCheck:
    """What to play, and how the recording of it was found.

    Attributes
    ----------
    play
        What to record for the check, in a sentence.
    bars
        The loudest bars of the newest line, empty without a line.
    lowest_hz
        Frequency of the line's lowest note, None without a line.
    readiness
        None before anything was recorded.
    """

    play: str
    bars: tuple[int, ...]
    lowest_hz: float | None
    readiness: Readiness | None


def plan_check(folder: JobFolder) -> ReadyCheck:
    """Say what to record for the ready check; nothing is written."""
    song = song_map(folder)
    bars, lowest_hz = range(0), None
    if folder.job.lines:
        line = current_line(folder).line
        bars = loudest_bars(line, song.to_grid())
        lowest_hz = float(midi_to_hz(min(note.pitch for note in line.notes), a4_hz=song.tuning.a4_hz))
    play = (
        f"With everything as for a take, record three seconds of silence and then {_passage(bars)}, "
        "as loud as you will play in the take."
    )
    return ReadyCheck(play, tuple(bars), lowest_hz, None)


def check_file(folder: JobFolder, file: Path, *, progress: Progress = silent) -> ReadyCheck:
    """Look at a recording made for the ready check; nothing is written.

    Raises
    ------
    InputError
        When the recording cannot be read.
    """
    plan = plan_check(folder)
    progress(0.3, f"listening to '{file.name}'")
    return _checked(folder, plan, read_audio(file))


def check_device(
    folder: JobFolder,
    device: Device,
    *,
    inputs: int = 1,
    seconds: float = USUAL_S,
    progress: Progress = silent,
    peaks: Callable[[tuple[float, ...]], None] = lambda _: None,
) -> ReadyCheck:
    """Record through a device at the guide's rate for the ready check; nothing is kept.

    Parameters
    ----------
    peaks
        As in `hear_device`.

    Raises
    ------
    InputError
        As `hear_device`.
    """
    plan = plan_check(folder)
    sr = guide_audio(folder).sr
    heard = hear_device(device, seconds=seconds, sr=sr, inputs=inputs, progress=progress, peaks=peaks)
    return _checked(folder, plan, heard.audio, _check_losses(device.name, heard.losses))


def _check_losses(name: str, losses: int) -> Check:
    if losses == 0:
        return Check("drop-outs", "good", 0, "", "No sound was lost on the way.")
    times = "once" if losses == 1 else f"{losses} times"
    sentence = f"'{name}' lost sound {times} while it was recorded: close other programs, then check again."
    return Check("drop-outs", "wrong", losses, "", sentence)


def _checked(folder: JobFolder, plan: ReadyCheck, audio: Audio, *others: Check) -> ReadyCheck:
    guide = guide_audio(folder)
    readiness = check_recording(
        audio,
        wanted_sr=guide.sr,
        lowest_hz=plan.lowest_hz,
        again=f"play {_passage(plan.bars)}",
        others=[*others, check_disk(folder.root, song_s=guide.duration_s, sr=guide.sr)],
    )
    return replace(plan, readiness=readiness)


def _passage(bars: Sequence[int]) -> str:
    return bars_text(bars) if bars else "the loudest passage"


def check_disk(root: Path, *, song_s: float, sr: int) -> Check:
    """Whether a day's takes of a song find room on the disk."""
    needed = song_s * sr * BYTES_PER_SAMPLE * CHANNELS * TAKES * COPIES / 1e9 + LIMITS["disk_spare"].value
    free = shutil.disk_usage(root).free / 1e9
    if free < needed:
        sentence = (
            f"Make room on the disk: {free:.1f} GB are free, and {TAKES} takes with copies need {needed:.1f} GB."
        )
        return Check("disk", "wrong", free, "GB", sentence)
    return Check(
        "disk", "good", free, "GB", f"{free:.0f} GB are free; {TAKES} takes with copies need {needed:.1f} GB."
    )
