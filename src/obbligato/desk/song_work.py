"""Corrections of the song map as the page sends them, and the listening that some of them need."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from obbligato.job.mapping import correct, song_map
from obbligato.job.model import Doubted
from obbligato.job.places import parse_said
from obbligato.job.store import JobFolder
from obbligato.job.writing import instrument_of
from obbligato.music.chord_names import chord_label
from obbligato.music.harmony import parse_key, transpose_key
from obbligato.page.staves import Pitch
from obbligato.progress import Progress, silent

Seconds = Annotated[float, Field(ge=0, le=86_400, allow_inf_nan=False)]
Said = Annotated[str, Field(min_length=1, max_length=80)]

_ONE_AT_A_TIME = threading.Lock()


class MapCorrection(BaseModel):
    """Corrections by hand; places are written as on the command line (`12:3=Cm7`, `17=B`, `9-12=no`).

    `pitch` says in which pitch the chords and keys among them are named.
    """

    model_config = ConfigDict(extra="forbid")

    bpm: Annotated[float | None, Field(ge=1, le=1000, allow_inf_nan=False)] = None
    double: bool = False
    halve: bool = False
    shift_beats: Annotated[float | None, Field(ge=-64, le=64, allow_inf_nan=False)] = None
    bar_1_near_s: Seconds | None = None
    bar_1: Annotated[str | None, Field(max_length=20)] = None
    meter: Annotated[str | None, Field(max_length=7)] = None
    keys: Annotated[list[Said], Field(max_length=50)] = []
    taps_s: Annotated[list[Seconds], Field(max_length=2000)] = []
    chords: Annotated[list[Said], Field(max_length=200)] = []
    sections: Annotated[list[Said], Field(max_length=100)] = []
    singer: Annotated[list[Said], Field(max_length=100)] = []
    confirmed: Annotated[list[Doubted], Field(max_length=3)] = []
    words: Annotated[list[Said], Field(max_length=200)] = []
    undo_last: bool = False
    undo_all: bool = False
    pitch: Pitch = "sounding"


def apply_correction(folder: JobFolder, said: MapCorrection, *, progress: Progress = silent) -> None:
    """Keep a correction; of two that come at once the second waits."""
    fields = said.model_dump(exclude={"pitch"})
    if said.pitch == "written":
        down = instrument_of(folder).transposition.semitones
        fields["chords"] = [_sounding_chord(text, down) for text in said.chords]
        fields["keys"] = [_sounding_key(text, down) for text in said.keys]
    fields = {name: tuple(value) if isinstance(value, list) else value for name, value in fields.items()}
    with _ONE_AT_A_TIME:
        correct(folder, **fields, progress=progress)


def correct_and_listen(*, root: Path, said: dict[str, Any] | None, progress: Progress) -> None:
    """In the worker: keep a correction, if there is one, and hear what follows from it."""
    folder = JobFolder.open(root)
    if said is not None:
        apply_correction(folder, MapCorrection.model_validate(said), progress=progress)
    song_map(folder, progress=progress)


def _sounding_chord(text: str, semitones: int) -> str:
    place, symbol = parse_said(text, example="12:3=Cm7")
    return f"{place}={chord_label(symbol, semitones) if symbol else ''}"


def _sounding_key(text: str, semitones: int) -> str:
    bar, equals, name = text.rpartition("=")
    tonic, mode = parse_key(name)
    return f"{bar}{equals}{transpose_key(tonic, mode, semitones)} {mode}"
