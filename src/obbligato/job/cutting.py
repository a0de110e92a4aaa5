"""A take that holds several passes of the line, cut into takes of their own; the long one stays, left out."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import soundfile

from obbligato.errors import InputError
from obbligato.job.mapping import song_map
from obbligato.job.model import TakeRef
from obbligato.job.store import JobFolder
from obbligato.job.taking import keep_takes
from obbligato.job.timing import timed_line
from obbligato.job.writing import current_line
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio
from obbligato.sound.wav import wav_bytes
from obbligato.takes.hearing import hear
from obbligato.takes.passes import Pass, cut_out, find_passes

_SAMPLES_AS = {"FLOAT": "float32", "DOUBLE": "float64"}
_LOSSLESS = {"WAV", "WAVEX", "RF64", "AIFF", "FLAC", "CAF", "W64"}


def cut_take(folder: JobFolder, number: int) -> tuple[TakeRef, ...]:
    """Make each pass that a take holds a take of its own, its frames copied as they are.

    Returns
    -------
    The new takes; each one's facts say out of which take it was cut, and where.

    Raises
    ------
    InputError
        When there is no such take or no line, the take holds but one pass, or was cut before.
    """
    folder.require_writable()
    take = next((t for t in folder.job.takes if t.number == number), None)
    if take is None:
        raise InputError(f"There is no take {number}; see them with: obbligato takes JOB")
    if any(t.cut_from == number for t in folder.job.takes):
        raise InputError(f"Take {number} was cut before; its passes are takes of their own.")
    if not folder.job.lines:
        raise InputError("The passes of a take are found by the line; add it first: obbligato line JOB FILE.mid")
    song = song_map(folder)
    line = timed_line(current_line(folder).line, song.to_grid())
    audio = read_audio(folder.path(take.file))
    passes = find_passes(hear(audio, line, a4_hz=song.tuning.a4_hz), line, a4_hz=song.tuning.a4_hz)
    if len(passes) < 2:
        raise InputError(f"Take {number} holds one pass of the line; there is nothing to cut.")
    sounds = [_piece(folder.path(take.file), audio, one) for one in passes]
    first = max(t.number for t in folder.job.takes) + 1
    new = [
        _ref(take, first + i, sound, one, sr=audio.sr)
        for i, (one, sound) in enumerate(zip(passes, sounds, strict=True))
    ]
    keep_takes(
        folder,
        zip(new, (data for data, _ in sounds), strict=True),
        f"take {number} cut into takes {first} to {new[-1].number}",
        takes=(*folder.job.takes, *new),
        left_out=folder.job.left_out | {number},
        overrides={phrase: chosen for phrase, chosen in folder.job.overrides.items() if chosen != number},
    )
    return tuple(new)


def _ref(take: TakeRef, number: int, sound: tuple[bytes, str], one: Pass, *, sr: int) -> TakeRef:
    first, last = (round(t * sr) for t in (one.start_s, one.end_s))
    data, suffix = sound
    stem, _, ending = take.given_as.rpartition(".")
    return take.model_copy(
        update={
            "number": number,
            "file": f"takes/take_{number:02d}{suffix}",
            "sha256": hashlib.sha256(data).hexdigest(),
            "given_as": f"{stem or ending} from {_clock(one.start_s)}{suffix}",
            "frames": min(last, take.frames) - first,
            "starts_at_s": None if take.starts_at_s is None else take.starts_at_s + first / sr,
            "cut_from": take.number,
            "from_frame": first,
        }
    )


def _piece(path: Path, audio: Audio, one: Pass) -> tuple[bytes, str]:
    """A pass as the bytes of a sound file, and the file's ending; of the same kind where that loses nothing."""
    try:
        info = soundfile.info(path)
    except soundfile.LibsndfileError:
        info = None
    if info is None or info.format not in _LOSSLESS:
        return wav_bytes(cut_out(audio, one), bit_depth=32), ".wav"
    first, last = (round(t * audio.sr) for t in (one.start_s, one.end_s))
    samples, sr = soundfile.read(path, start=first, stop=last, dtype=_SAMPLES_AS.get(info.subtype, "int32"))
    out = io.BytesIO()
    soundfile.write(out, samples, sr, format=info.format, subtype=info.subtype)
    return out.getvalue(), path.suffix


def _clock(time_s: float) -> str:
    return f"{int(time_s // 60)}.{int(time_s % 60):02d}"
