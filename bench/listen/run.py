"""One song after another: rendered, listened to by both, scored."""

from __future__ import annotations

import hashlib
import json
import time
import traceback
from dataclasses import dataclass
from pathlib import Path

from obbligato.listen.songmap import SongMap
from obbligato.sound.files import read_audio
from obbligato.sound.intake import source_facts

from . import measures
from .render import rendered
from .spec import Spec

RECORDED = Path("/usr/share/games/fretsonfire/data/songs/sectoid")


@dataclass(frozen=True)
class Result:
    """What came of one song."""

    spec: Spec
    ours: dict[str, float]
    theirs: dict[str, float]
    bpm: float
    seconds: float
    error: str = ""


def listened(path: Path) -> SongMap:
    """The song map of a file, as `obbligato listen` makes it."""
    from obbligato.listen.pipeline import listen

    audio = read_audio(path)
    return listen(audio, lambda: source_facts(path, audio))


def librosa_heard(path: Path) -> dict:
    """What librosa's pipeline finds in a file."""
    from .theirs import librosa_pipeline

    return librosa_pipeline(read_audio(path))


def run_song(spec: Spec, cache: Path, *, beside: bool) -> Result:
    """Render, listen, score; a song that cannot be listened to fails every measure that asks for a verdict."""
    path, truth = rendered(spec, cache)
    started = time.perf_counter()
    try:
        found = listened(path)
    except Exception:  # the bench reports whatever breaks
        return Result(spec, {"octave": 0.0, "metre": 0.0, "bar 1": 0.0}, {}, 0.0, 0.0, traceback.format_exc())
    took_s = time.perf_counter() - started
    ours = measures.scored(found, truth)
    theirs: dict[str, float] = {}
    if beside:
        from . import theirs as librosa_side

        theirs = librosa_side.scored(_kept(path, cache), truth)
    return Result(spec, ours, theirs, found.tempo.bpm, took_s)


def recorded_songs() -> list[tuple[str, float, SongMap]]:
    """Name, annotated tempo and findings of the recorded songs, where they are installed."""
    import mido

    out = []
    for folder in sorted(RECORDED.glob("*/")):
        tempo = next(m.tempo for m in mido.MidiFile(folder / "notes.mid").tracks[0] if m.type == "set_tempo")
        out.append((folder.name, mido.tempo2bpm(tempo), listened(folder / "song.ogg")))
    return out


def _kept(path: Path, cache: Path) -> dict:
    """Librosa's findings, which do not change while its version and our use of it stay."""
    import librosa

    code = (Path(__file__).parent / "theirs.py").read_bytes() + librosa.__version__.encode()
    kept = cache / f"{path.stem}-librosa-{hashlib.sha256(code).hexdigest()[:8]}.json"
    if not kept.is_file():
        kept.write_text(json.dumps(librosa_heard(path)))
    return json.loads(kept.read_text())
