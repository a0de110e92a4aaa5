"""Whether the line can be played: range, breath, the singer, the chords."""

from __future__ import annotations

from collections.abc import Sequence

from obbligato.job.keys import line_key
from obbligato.job.mapping import song_map
from obbligato.job.singer_notes import NOT_KNOWN, singer_notes
from obbligato.job.store import JobFolder
from obbligato.job.writing import current_line, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.music.breath import read_tank
from obbligato.music.instruments import Instrument
from obbligato.music.line import Line
from obbligato.music.playable import Remark, check_line
from obbligato.music.spans import SungNote
from obbligato.music.stamina import Budget, budgets
from obbligato.page.tank import tank_svg, tank_words


def check(folder: JobFolder) -> tuple[Remark, ...]:
    """What stands in the way of playing the newest line; that it was looked at is noted in the job."""
    song = song_map(folder)
    placed = current_line(folder)
    sung = singer_notes(folder)
    remarks = check_in_song(placed.line, song, instrument_of(folder), sung=sung)
    if sung is None:
        remarks = (*remarks, *_not_known(song))
    key = line_key(folder)
    if folder.job.made_from("check", key) is None:
        version = placed.version.version
        made = folder.made("check", "", from_key=key, line_version=version)
        folder.save("check", f"line version {version} checked: {len(remarks)} remarks", made=made)
    return remarks


def check_in_song(
    line: Line, song: SongMap, instrument: Instrument, *, sung: Sequence[SungNote] | None = None
) -> tuple[Remark, ...]:
    """What stands in the way of playing a line in a song, with all that is known of the song.

    `sung` are the singer's notes, None where they are not known.
    """
    return check_line(
        line,
        song.to_grid(),
        instrument,
        voice=song.voice,
        chords=song.chords,
        openings=song.openings,
        sung=sung or (),
    )


def line_budgets(folder: JobFolder) -> tuple[Budget, ...]:
    """What the newest line uses of the lip or the bow."""
    return budgets(current_line(folder).line.notes, song_map(folder).to_grid(), instrument_of(folder))


def tank_picture(folder: JobFolder) -> tuple[str, str]:
    """The air of the newest line as SVG, and the same in words."""
    notes, grid = current_line(folder).line.notes, song_map(folder).to_grid()
    readings = read_tank(notes, grid, instrument_of(folder))
    return tank_svg(notes, readings, grid), tank_words(notes, readings, grid)


def _not_known(song: SongMap) -> tuple[Remark, ...]:
    """That the singer's notes are not known, where somebody sings."""
    if not song.voice:
        return ()
    first, last = (song.to_grid().position_at(at_s).bar for at_s in (song.voice[0].start_s, song.voice[-1].end_s))
    return (Remark("voice", "note", first, last, NOT_KNOWN),)
