"""Whether the line can be played: range, breath, the singer, the chords."""

from __future__ import annotations

from obbligato.job.keys import line_key
from obbligato.job.mapping import song_map
from obbligato.job.store import JobFolder
from obbligato.job.writing import current_line, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.music.instruments import Instrument
from obbligato.music.line import Line
from obbligato.music.playable import Remark, check_line


def check(folder: JobFolder) -> tuple[Remark, ...]:
    """What stands in the way of playing the newest line; that it was looked at is noted in the job."""
    song = song_map(folder)
    placed = current_line(folder)
    remarks = check_in_song(placed.line, song, instrument_of(folder))
    key = line_key(folder)
    if folder.job.made_from("check", key) is None:
        version = placed.version.version
        made = folder.made("check", "", from_key=key, line_version=version)
        folder.save("check", f"line version {version} checked: {len(remarks)} remarks", made=made)
    return remarks


def check_in_song(line: Line, song: SongMap, instrument: Instrument) -> tuple[Remark, ...]:
    """What stands in the way of playing a line in a song, with all that is known of the song."""
    return check_line(line, song.to_grid(), instrument, voice=song.voice, chords=song.chords, openings=song.openings)
