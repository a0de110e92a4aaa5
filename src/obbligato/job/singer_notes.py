"""What the singer sings, note by note, where the client sent the voice alone; out of a mix it is not guessed."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from pydantic import TypeAdapter

from obbligato.errors import InputError
from obbligato.job.intake import vocal_audio
from obbligato.job.mapping import song_map
from obbligato.job.store import JobFolder
from obbligato.music.spans import SungNote

SINGER_RANGE = (36, 88)
"""Sounding pitches listened for: from a bass's low C to a soprano's high E."""
NOT_KNOWN = (
    "The singer's notes are not known, as no vocal stem was sent: whether the line lies in their octave or rubs "
    "against the tune is not judged."
)
_NOTES = TypeAdapter(tuple[SungNote, ...])


def singer_notes(folder: JobFolder, *, measure: bool = True) -> tuple[SungNote, ...] | None:
    """The singer's notes in seconds of the guide; None where there is no vocal stem.

    They are heard once and kept. With `measure` false, None is also given where they were not heard yet.
    """
    guide = folder.job.guide
    if not guide.vocal:
        return None
    key = f"singer-{guide.sha256[:16]}.json"
    kept = _kept(folder.root, key)
    if kept is not None or not measure:
        return kept
    notes = _heard(folder)
    folder.keep(key, _NOTES.dump_json(notes))
    return notes


def _heard(folder: JobFolder) -> tuple[SungNote, ...]:
    from obbligato.takes.free_notes import hear_free

    vocal = vocal_audio(folder)
    a4_hz = song_map(folder).tuning.a4_hz
    if vocal is None:
        return ()
    try:
        heard = hear_free("vocal", vocal, a4_hz=a4_hz, start_s=0.0, range_midi=SINGER_RANGE)
    except InputError:
        # A stem in which nothing sounds has no notes.
        return ()
    return tuple(SungNote(note.start_s, note.end_s, note.midi) for note in heard.notes)


def _kept(root: Path, key: str) -> tuple[SungNote, ...] | None:
    path = root / ".cache" / key
    return _read(path, path.stat().st_mtime_ns) if path.is_file() else None


@lru_cache(maxsize=8)
def _read(path: Path, _changed_ns: int) -> tuple[SungNote, ...]:
    return _NOTES.validate_json(path.read_bytes())
