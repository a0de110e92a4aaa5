"""What was heard in a take as bytes, to be kept beside the take and read back exactly as it was."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import asdict, fields
from typing import Any

import numpy as np

from obbligato.takes.details import NoteDetail
from obbligato.takes.extras import ExtraNote
from obbligato.takes.faults import TakeSound
from obbligato.takes.levels import Levels
from obbligato.takes.measure import PhraseMeasures, TakeMeasures
from obbligato.takes.notes import PlayedNote
from obbligato.takes.place import Placement
from obbligato.takes.read import HeardTake

READER = 5
"""Grows whenever listening to the same take finds something else, or is written down otherwise."""
_ARRAYS = ("late_ms", "cents", "level_db", "steady", "groove_ms")


def heard_to_bytes(take: HeardTake) -> bytes:
    """A take that was heard, as an archive of arrays; numbers keep every digit."""
    measures = take.measures
    words = {
        "reader": READER,
        "path": measures.path,
        "placement": asdict(measures.placement),
        "played": [asdict(note) for note in measures.played],
        "room_db": measures.room_db,
        "phrases": [asdict(phrase) for phrase in measures.phrases],
        "details": [asdict(detail) for detail in measures.details],
        "sound": asdict(measures.sound),
        "floor_db": take.levels.floor_db,
    }
    arrays = {name: getattr(measures, name) for name in _ARRAYS}
    out = io.BytesIO()
    np.savez(
        out,
        allow_pickle=False,
        words=np.frombuffer(json.dumps(words).encode(), dtype=np.uint8),
        power=take.levels.power,
        **arrays,
    )
    return out.getvalue()


def heard_from_bytes(data: bytes) -> HeardTake | None:
    """The take as it was heard; None where the bytes are damaged or another version's, so that it is heard anew."""
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as archive:
            words = json.loads(archive["words"].tobytes())
            if words["reader"] != READER:
                return None
            arrays = {name: archive[name] for name in _ARRAYS}
            return HeardTake(_measures(words, arrays), Levels(archive["power"], words["floor_db"]))
    except (ValueError, KeyError, TypeError, OSError, EOFError, zipfile.BadZipFile):
        return None


def _measures(words: dict[str, Any], arrays: dict[str, Any]) -> TakeMeasures:
    return TakeMeasures(
        path=words["path"],
        placement=Placement.from_words(words["placement"]),
        played=tuple(PlayedNote(**note) for note in words["played"]),
        room_db=words["room_db"],
        phrases=tuple(_phrase(phrase) for phrase in words["phrases"]),
        details=tuple(NoteDetail(**detail) for detail in words["details"]),
        sound=TakeSound(**words["sound"]),
        **arrays,
    )


def _phrase(words: dict[str, Any]) -> PhraseMeasures:
    known = {field.name: words[field.name] for field in fields(PhraseMeasures)}
    return PhraseMeasures(**{**known, "extra": tuple(ExtraNote(**note) for note in words["extra"])})
