"""Whether the line can be played: range, breath, the singer, the chords."""

from __future__ import annotations

from obbligato.job.keys import line_key
from obbligato.job.mapping import song_map
from obbligato.job.store import JobFolder
from obbligato.job.writing import current_line, instrument_of
from obbligato.music.playable import Remark, check_line


def check(folder: JobFolder) -> tuple[Remark, ...]:
    """What stands in the way of playing the newest line; that it was looked at is noted in the job."""
    song = song_map(folder)
    placed = current_line(folder)
    remarks = check_line(
        placed.line,
        song.to_grid(),
        instrument_of(folder),
        voice=song.voice,
        chords=song.chords,
        openings=song.openings,
    )
    key = line_key(folder)
    if folder.job.made_from("check", key) is None:
        version = placed.version.version
        made = folder.made("check", "", from_key=key, line_version=version)
        folder.save("check", f"line version {version} checked: {len(remarks)} remarks", made=made)
    return remarks
