"""The mock-up: the line played by a SoundFont on the guide's time, blended with the guide for the client."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from obbligato.job.intake import guide_audio
from obbligato.job.keys import line_key
from obbligato.job.mapping import song_map
from obbligato.job.store import JobFolder
from obbligato.job.writing import current_line, instrument_of
from obbligato.play.mockup import DEFAULT_LINE_DB, blend, render_line
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.files import write_mp3, write_wav

BLEND, LINE, PREVIEW = "blend.wav", "line.wav", "blend.mp3"


@dataclass(frozen=True)
class Mockup:
    """A rendered mock-up: its folder inside the job, and what was done to the levels."""

    folder: str
    line_version: int
    line_db: float
    sentence: str


def make_mockup(
    folder: JobFolder,
    *,
    line_db: float | None = None,
    soundfont: Path | None = None,
    progress: Progress = silent,
) -> Mockup:
    """Render the newest line and blend it with the guide, as WAV and as a small file for sending.

    The guide stays at its own level; the line lies `line_db` above it (below 0: below) by loudness,
    measured where the line sounds.
    """
    folder.require_writable()
    line_db = DEFAULT_LINE_DB if line_db is None else line_db
    song = song_map(folder, progress=part_of(progress, 0.0, 0.3))
    placed = current_line(folder)
    guide = guide_audio(folder)
    progress(0.3, "playing the line")
    line_audio = render_line(
        placed.line,
        song.to_grid(),
        instrument_of(folder),
        n_samples=guide.n_samples,
        sr=guide.sr,
        a4_hz=song.tuning.a4_hz,
        soundfont=soundfont,
    )
    progress(0.6, "blending")
    blended = blend(guide, line_audio, line_db=line_db)
    name = f"mockup_v{placed.version.version}"
    with folder.new_folder("approval", name) as (building, target):
        write_wav(building / BLEND, blended.audio)
        write_wav(building / LINE, blended.line)
        progress(0.8, "making the small file")
        write_mp3(building / PREVIEW, blended.audio)
    made = folder.made("mockup", target, from_key=line_key(folder), line_version=placed.version.version)
    folder.save("mockup", f"mock-up of line version {placed.version.version}", made=made)
    progress(1.0, "done")
    return Mockup(target, placed.version.version, line_db, blended.sentence)
