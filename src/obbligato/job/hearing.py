"""What the player hears while recording: click, count-in and headphone mix."""

from __future__ import annotations

from dataclasses import dataclass

from obbligato.errors import InputError
from obbligato.job.intake import guide_audio
from obbligato.job.mapping import map_key, song_map
from obbligato.job.mockup import LINE
from obbligato.job.store import JobFolder
from obbligato.play.click import ToneName, click_track, count_in_click
from obbligato.play.exposure import Headphones, exposure
from obbligato.play.phones import CEILING_DBTP, HEARING_CAUTION, HeadphoneMix, headphone_mix
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio, write_wav

CLICK, COUNT_IN, PHONES = "click.wav", "count-in.wav", "headphones.wav"


@dataclass(frozen=True)
class ClickFiles:
    """Where the click files are, and what to know before putting the headphones on."""

    folder: str
    sentences: tuple[str, ...]


def make_click(
    folder: JobFolder,
    *,
    guide_db: float | None = None,
    tone: ToneName = "bar",
    with_mockup: bool = False,
    headphones: Headphones | None = None,
    progress: Progress = silent,
) -> ClickFiles:
    """Write click, count-in and headphone mix for the song as it is mapped now.

    `click.wav` and `headphones.wav` have the guide's start, length and rate; the count-in is a file of its own.

    Parameters
    ----------
    with_mockup
        Whether the line of the newest mock-up is heard as well, at its level against the guide there.
    headphones
        For the estimate of exposure; usual figures are assumed without it.

    Raises
    ------
    InputError
        When the mock-up is asked for and there is none.
    """
    folder.require_writable()
    song = song_map(folder, progress=part_of(progress, 0.0, 0.4))
    guide = guide_audio(folder)
    grid = song.to_grid()
    progress(0.5, "making the click")
    click = click_track(grid, n_samples=guide.n_samples, sr=guide.sr, guide=guide, tone=tone)
    phones = headphone_mix(guide, click, mockup_line(folder) if with_mockup else None, guide_db=guide_db)
    with folder.new_folder("click", "click") as (building, target):
        write_wav(building / CLICK, click)
        write_wav(building / COUNT_IN, count_in_click(grid, sr=guide.sr, tone=tone))
        progress(0.8, "mixing for the headphones")
        write_wav(building / PHONES, phones.audio)
    folder.save("click", "click and headphone mix", made=folder.made("click", target, from_key=map_key(folder)))
    progress(1.0, "done")
    heard = exposure(phones.audio, headphones or Headphones())
    older = _older_mockup(folder) if with_mockup else ()
    return ClickFiles(target, (phones.sentence, _stems_text(phones), *older, heard.sentence, HEARING_CAUTION))


def mockup_line(folder: JobFolder) -> Audio:
    """The line as it sounds in the newest mock-up.

    Raises
    ------
    InputError
        When there is none.
    """
    made = folder.job.last_made("mockup")
    if made is None:
        raise InputError("This job has no mock-up to hear in the headphones; make one with: obbligato mockup JOB")
    return read_audio(folder.path(made.folder) / LINE)


def _older_mockup(folder: JobFolder) -> tuple[str, ...]:
    made = folder.job.last_made("mockup")
    newest = folder.job.lines[-1].version if folder.job.lines else None
    if made is None or made.line_version == newest:
        return ()
    return (f"The mock-up you hear plays line version {made.line_version}; the newest is {newest}.",)


def _stems_text(phones: HeadphoneMix) -> str:
    told = ", ".join(f"{stem.name} {stem.lufs:.0f} LUFS ({stem.gain_db:+.1f} dB)" for stem in phones.stems)
    return f"In the mix: {told}; nothing above {CEILING_DBTP:.0f} dBTP."


def job_click(folder: JobFolder) -> Audio | None:
    """The job's own click as it was last made, if it was."""
    made = folder.job.last_made("click")
    path = folder.path(f"{made.folder}/{CLICK}") if made is not None else None
    return read_audio(path) if path is not None and path.is_file() else None
