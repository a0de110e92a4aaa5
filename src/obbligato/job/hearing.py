"""What the player hears while recording: click, count-in and headphone mix."""

from __future__ import annotations

from dataclasses import dataclass

from obbligato.job.intake import guide_audio
from obbligato.job.mapping import map_key, song_map
from obbligato.job.store import JobFolder
from obbligato.play.click import click_track, count_in_click
from obbligato.play.phones import HEARING_CAUTION, headphone_mix
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.files import write_wav

CLICK, COUNT_IN, PHONES = "click.wav", "count-in.wav", "headphones.wav"


@dataclass(frozen=True)
class ClickFiles:
    """Where the click files are, and what to know before putting the headphones on."""

    folder: str
    sentences: tuple[str, ...]


def make_click(folder: JobFolder, *, guide_db: float | None = None, progress: Progress = silent) -> ClickFiles:
    """Write click, count-in and headphone mix for the song as it is mapped now.

    `click.wav` and `headphones.wav` have the guide's start, length and rate; the count-in is a file of its own.
    """
    folder.require_writable()
    song = song_map(folder, progress=part_of(progress, 0.0, 0.4))
    guide = guide_audio(folder)
    grid = song.to_grid()
    progress(0.5, "making the click")
    click = click_track(grid, n_samples=guide.n_samples, sr=guide.sr, guide=guide)
    phones = headphone_mix(guide, click, guide_db=guide_db)
    with folder.new_folder("click", "click") as (building, target):
        write_wav(building / CLICK, click)
        write_wav(building / COUNT_IN, count_in_click(grid, sr=guide.sr))
        progress(0.8, "mixing for the headphones")
        write_wav(building / PHONES, phones.audio)
    folder.save("click", "click and headphone mix", made=folder.made("click", target, from_key=map_key(folder)))
    progress(1.0, "done")
    return ClickFiles(target, (phones.sentence, HEARING_CAUTION))
