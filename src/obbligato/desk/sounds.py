"""The sounds of a job as the page plays them: each with the guide's start, length and rate.

The guide and the comp are played from their own files. Click, line and takes are rendered when they are first asked
for and kept in the job's cache under a key of all that they are made from.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from obbligato.desk.errors import NotThere
from obbligato.job.choosing import COMP, lossless_depth
from obbligato.job.intake import guide_audio
from obbligato.job.keys import line_key
from obbligato.job.mapping import FINDINGS, map_key, song_map
from obbligato.job.model import TakeRef
from obbligato.job.proposing import read_edit_list
from obbligato.job.store import JobFolder, fingerprint
from obbligato.job.writing import current_line, instrument_of
from obbligato.play.click import click_track
from obbligato.play.mockup import blend, render_line
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio
from obbligato.sound.shape import gain
from obbligato.sound.wav import wav_bytes
from obbligato.takes.join import on_guide_time
from obbligato.takes.place import Placement

NAMES = r"^(guide|click|line|comp|take-[1-9][0-9]{0,3})$"
MOST_TAKES_KEPT = 12
"""Takes placed on the guide's time that stay in the cache: a long song's is some 30 MB."""

_RENDERING = 2
"""Grows whenever the same things are made to sound otherwise."""


@dataclass(frozen=True)
class Sound:
    """One sound of a job.

    Attributes
    ----------
    key
        Changes when the sound does.
    file
        Where it lies in the job, or will.
    """

    name: str
    key: str
    file: str

    def is_ready(self, folder: JobFolder) -> bool:
        """Whether the file is there to be played."""
        return folder.path(self.file).is_file()


def sounds_of(folder: JobFolder) -> tuple[Sound, ...]:
    """Every sound the job has so far: the guide, and what its stages have given it; nothing is rendered.

    A take is among them once a comp has been made and with it the place of the take on the guide's time was found.
    """
    return tuple(_sounds(folder))


def sound_of(folder: JobFolder, name: str) -> Sound:
    """One sound by its name.

    Raises
    ------
    NotThere
        When the job has no such sound, or not yet.
    """
    for sound in _sounds(folder):
        if sound.name == name:
            return sound
    raise NotThere(f"This job has no sound '{name}' yet; {_WAYS.get(name, 'choose among the takes first')}.")


def render_sound(*, root: Path, name: str, progress: Progress = silent) -> str:
    """Make sure that a sound can be played; its key.

    Raises
    ------
    NotThere, InputError
        When the job has no such sound, or it cannot be made.
    """
    folder = JobFolder.open(root)
    sound = sound_of(folder, name)
    if not sound.is_ready(folder):
        progress(0.0, "reading the guide")
        guide = guide_audio(folder)
        progress(0.2, f"making the sound of {_in_words(name)}")
        render = _RENDERERS.get(name, _take)
        audio = render(folder, guide, name)
        folder.keep(Path(sound.file).name, wav_bytes(audio, bit_depth=lossless_depth(audio)))
        _forget_old(folder, sound)
    progress(1.0, "ready")
    return sound.key


def _sounds(folder: JobFolder) -> Iterator[Sound]:
    job = folder.job
    yield Sound("guide", job.guide.sha256[:12], job.guide.pcm)
    if folder.path(FINDINGS).exists():
        yield _rendered("click", map_key(folder))
        if job.lines:
            yield _rendered("line", line_key(folder), job.instrument)
    comp = job.last_made("choose")
    if comp is None or not folder.path(f"{comp.folder}/{COMP}").is_file():
        return
    yield Sound("comp", fingerprint(comp.folder, comp.from_key), f"{comp.folder}/{COMP}")
    placements = _placements(folder)
    for take in job.takes:
        if take.file in placements:
            yield _rendered(f"take-{take.number}", take.sha256, job.guide.sha256, vars(placements[take.file]))


def _rendered(name: str, *made_from: object) -> Sound:
    key = fingerprint(_RENDERING, name, *made_from)
    return Sound(name, key, f".cache/sound-{name}-{key}.wav")


def _placements(folder: JobFolder) -> dict[str, Placement]:
    """Where each take lies, as found for the newest comp."""
    comp = folder.job.last_made("choose")
    if comp is None:
        return {}
    return dict(read_edit_list(folder, comp.folder).placements)


def _click(folder: JobFolder, guide: Audio, name: str) -> Audio:
    return click_track(song_map(folder).to_grid(), n_samples=guide.n_samples, sr=guide.sr, guide=guide)


def _line(folder: JobFolder, guide: Audio, name: str) -> Audio:
    """The line as loud against the guide as in a mock-up, the guide being at its own level."""
    song = song_map(folder)
    line = render_line(
        current_line(folder).line,
        song.to_grid(),
        instrument_of(folder),
        n_samples=guide.n_samples,
        sr=guide.sr,
        a4_hz=song.tuning.a4_hz,
    )
    blended = blend(guide, line)
    return gain(blended.line, blended.lowered_db)


def _take(folder: JobFolder, guide: Audio, name: str) -> Audio:
    take = _take_ref(folder, name)
    audio = read_audio(folder.path(take.file))
    y = on_guide_time(audio, _placements(folder)[take.file], n_samples=guide.n_samples, sr=guide.sr)
    return Audio(y, guide.sr)


def _take_ref(folder: JobFolder, name: str) -> TakeRef:
    number = int(name.removeprefix("take-"))
    return next(take for take in folder.job.takes if take.number == number)


def _forget_old(folder: JobFolder, sound: Sound) -> None:
    """Remove older renderings of the same sound, and the takes that were rendered longest ago."""
    cache = folder.path(".cache")
    same = re.compile(rf"sound-{re.escape(sound.name)}-[0-9a-f]+\.wav")
    for path in cache.iterdir():
        if same.fullmatch(path.name) and path.name != Path(sound.file).name:
            path.unlink(missing_ok=True)
    takes = sorted(cache.glob("sound-take-*.wav"), key=lambda path: path.stat().st_mtime, reverse=True)
    for path in takes[MOST_TAKES_KEPT:]:
        path.unlink(missing_ok=True)


def _in_words(name: str) -> str:
    return f"take {name.removeprefix('take-')}" if name.startswith("take-") else f"the {name}"


_RENDERERS: dict[str, Callable[[JobFolder, Audio, str], Audio]] = {"click": _click, "line": _line}
_WAYS = {
    "click": "it is made once the guide has been listened to",
    "line": "add a line first",
    "comp": "choose among the takes first",
}
