"""The mock-up: the line played by a SoundFont on the guide's time, blended with the guide for the client."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from obbligato.job.intake import guide_audio
from obbligato.job.keys import line_key
from obbligato.job.mapping import song_map
from obbligato.job.names import plain
from obbligato.job.store import JobFolder
from obbligato.job.writing import PlacedLine, current_line, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.music.spans import SectionSpan
from obbligato.play.mockup import DEFAULT_LINE_DB, blend, render_line
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.sound.files import write_mp3, write_wav

BLEND, LINE, PREVIEW = "blend.wav", "line.wav", "blend.mp3"
_FADE_S = 0.02


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
    """Render the newest line and blend it with the guide, as WAV and as small files for sending: the whole, and each
    section in which the line plays.

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
        for number, section in enumerate(played_sections(placed, song), 1):
            alone = _cut(blended.audio, section)
            write_mp3(building / f"section_{number:02d}_{plain(section.label, fallback='x')}.mp3", alone)
    made = folder.made("mockup", target, from_key=line_key(folder), line_version=placed.version.version)
    folder.save("mockup", f"mock-up of line version {placed.version.version}", made=made)
    progress(1.0, "done")
    return Mockup(target, placed.version.version, line_db, blended.sentence)


def played_sections(placed: PlacedLine, song: SongMap) -> list[SectionSpan]:
    """The sections of the form in which the line has notes."""
    grid = song.to_grid()
    starts_s = [float(grid.beat_to_sec(note.onset_beat)) for note in placed.line.notes]
    return [s for s in song.sections if any(s.start_s <= start < s.end_s for start in starts_s)]


def _cut(audio: Audio, section: SectionSpan) -> Audio:
    """One section of a sound, its ends faded."""
    first, last = (round(min(max(s, 0.0), audio.duration_s) * audio.sr) for s in (section.start_s, section.end_s))
    y = np.array(audio.y[:, first:last])
    fade = min(round(_FADE_S * audio.sr), y.shape[1] // 2)
    ramp = np.linspace(0.0, 1.0, fade, dtype=np.float32)
    y[:, :fade] *= ramp
    y[:, y.shape[1] - fade :] *= ramp[::-1]
    return Audio(y, audio.sr)
