"""A take that holds several passes of the line, cut into takes of their own; the long one stays, left out."""

from __future__ import annotations

import hashlib
import io
import json
from itertools import pairwise
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
_LEAST_OF_LAST = 0.25
"""A last pass that was given up sooner stays in the long take only."""
_SAME_PLACE_S = 0.5

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
    audio = read_audio(folder.path(take.file))
    by_round = _as_recorded(folder, take)
    passes = by_round or _as_heard(folder, audio)
    if len(passes) < 2:
        raise InputError(f"Take {number} holds one pass of the line; there is nothing to cut.")
    sounds = [_piece(folder.path(take.file), audio, one) for one in passes]
    first = max(t.number for t in folder.job.takes) + 1
    new = [
        _ref(take, first + i, sound, one, sr=audio.sr, starts_at_s=_start_s(take, one, recorded=bool(by_round)))
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


def repeated(frames: int, *, every: int, round_trip: int) -> tuple[tuple[int, int], ...]:
    """First and last frame (not included) of each pass of a recording to a sound that began again and again.

    >>> repeated(2500, every=1000, round_trip=10)
    ((0, 1010), (1010, 2010), (2010, 2500))
    """
    edges = [0, *range(every + round_trip, frames, every), frames]
    passes = list(pairwise(edges))
    if len(passes) > 1 and passes[-1][1] - passes[-1][0] < _LEAST_OF_LAST * every:
        passes.pop()
    return tuple(passes)


def _as_recorded(folder: JobFolder, take: TakeRef) -> tuple[Pass, ...]:
    """The passes of an open take recorded here: each is a round of its sound, to the frame."""
    try:
        document = json.loads(folder.path(take.file).with_suffix(".json").read_bytes())
        facts = document["recording"]
        every, round_trip, starts_at_s = (
            facts["repeats_every"], facts["round_trip_frames"], facts["sound_starts_at_s"]
        )  # fmt: skip
    except (OSError, ValueError, KeyError, TypeError):
        return ()
    if not every:
        return ()
    sr = take.sample_rate
    return tuple(
        Pass(first / sr, last / sr, starts_at_s - (0 if first else round_trip / sr))
        for first, last in repeated(take.frames, every=every, round_trip=round_trip)
    )


def _as_heard(folder: JobFolder, audio: Audio) -> tuple[Pass, ...]:
    if not folder.job.lines:
        raise InputError("The passes of a take are found by the line; add it first: obbligato line JOB FILE.mid")
    song = song_map(folder)
    line = timed_line(current_line(folder).line, song.to_grid())
    return find_passes(hear(audio, line, a4_hz=song.tuning.a4_hz), line, a4_hz=song.tuning.a4_hz)


def _start_s(take: TakeRef, one: Pass, *, recorded: bool) -> float | None:
    """Where a pass starts on the guide's time, if that is known; what was stated of the take holds for the pass that
    lies where it then would."""
    if recorded:
        return one.offset_s
    if take.starts_at_s is None or abs(take.starts_at_s + one.start_s - one.offset_s) > _SAME_PLACE_S:
        return None
    return take.starts_at_s + one.start_s


def _ref(
    take: TakeRef, number: int, sound: tuple[bytes, str], one: Pass, *, sr: int, starts_at_s: float | None
) -> TakeRef:
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
            "starts_at_s": starts_at_s,
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
