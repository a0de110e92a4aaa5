"""Sound files in and out.

libsndfile reads WAV, AIFF, FLAC, Ogg and their like; FFmpeg (through PyAV) reads the rest: MP3 (libsndfile gives only
part of one with a variable bit rate and no tag), MP4, the sound of videos.
A declared encoder delay is taken away, as a correct decoder does, so that sample 0 is where the client's program
puts the start of the file.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import av
import numpy as np
import soundfile
from av.audio.stream import AudioStream
from av.container import InputContainer

from obbligato.errors import InputError
from obbligato.sound.atomic import write_bytes_at_once
from obbligato.sound.audio import Audio, Samples
from obbligato.sound.completeness import require_complete
from obbligato.sound.mp3_encoding import mp3_bytes
from obbligato.sound.wav import write_wav

__all__ = ["AV_FORMATS", "mp3_bytes", "read_audio", "sha256_of", "write_mp3", "write_wav"]

AV_FORMATS = "mov,matroska,avi,asf,aac,ac3,eac3,dts,mp3,flac,ogg,wav,aiff,caf,amr,mpeg,mpegts,w64,ape,wv,tta,au"
"""What FFmpeg may take a file for: sound and video containers, never play lists that name other files."""

LIBSNDFILE_MAGICS = (b"RIFF", b"RF64", b"BW64", b"riff", b"FORM", b"fLaC", b"OggS", b"caff", b".snd")

MOST_DAMAGED = 0.01
"""Share of packets that may fail to decode (silence takes their place) before a file is refused as damaged."""

SHORTFALL_S = 0.1
"""A container that holds this much less sound than it declares was cut short; frames and rounding stay below."""

FORMATS_WITHOUT_LENGTH = ("mp3", "aac", "mpeg", "mpegts", "ac3", "eac3", "dts")
"""Here FFmpeg guesses the length from the size."""

EDIT_ROUNDING_S = 0.0011
"""MP4 edit lists may be counted in milliseconds, the sound itself in samples: a smaller difference is rounding."""


def read_audio(path: Path) -> Audio:
    """Read any sound file as float32 at its own rate, all channels, a declared encoder delay taken away.

    Raises
    ------
    InputError
        When there is no such file, it holds no sound, it was cut short, or it has samples that are no numbers.
    """
    path = Path(path)
    if path.is_dir():
        raise InputError(f"'{path}' is a folder; give one sound file.")
    if not path.is_file():
        raise InputError(f"There is no file '{path}'; check the name.")
    try:
        if path.stat().st_size == 0:
            raise InputError(f"'{path}' is empty (0 bytes); ask for the file again.")
        require_complete(path)
        with path.open("rb") as file:
            magic = file.read(4)
        audio = _read_with_libsndfile(path) if magic in LIBSNDFILE_MAGICS else None
        audio = audio or _read_with_ffmpeg(path)
    except OSError as error:
        raise InputError(f"'{path}' cannot be read ({error.strerror}); check that you may open it.") from error
    if audio.n_samples == 0:
        raise InputError(f"'{path}' is a sound file without any sound (0 frames); ask for the file again.")
    if not np.isfinite(audio.y).all():
        raise InputError(f"'{path}' has samples that are no numbers; ask for another bounce of it.")
    return audio


def write_mp3(path: Path, audio: Audio, *, kbps: int = 160, delay_tag: bool = True, overwrite: bool = False) -> None:
    """Write an MP3 file, whole or not at all; see `mp3_bytes`.

    Raises
    ------
    InputError
        When the file exists and `overwrite` is off, the folder cannot be written, or the sound cannot be encoded.
    """
    write_bytes_at_once(path, mp3_bytes(audio, kbps=kbps, delay_tag=delay_tag), overwrite=overwrite)


def sha256_of(path: Path) -> str:
    """The fingerprint of a file's bytes, in hexadecimal."""
    with Path(path).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _read_with_libsndfile(path: Path) -> Audio | None:
    try:
        with soundfile.SoundFile(path) as file:
            declared = len(file)
            y = file.read(dtype="float32", always_2d=True)
            sr, lossless = file.samplerate, file.format in ("WAV", "WAVEX", "RF64", "AIFF", "FLAC")
    except (soundfile.LibsndfileError, TypeError):
        return None
    if lossless and len(y) < declared:
        raise InputError(
            f"'{path}' breaks off: it declares {declared} samples and {len(y)} can be read; ask for the file again."
        )
    if len(y) == 0:
        return None
    return Audio(np.ascontiguousarray(y.T), sr)


def open_with_ffmpeg(path: Path) -> InputContainer:
    """Open a file that FFmpeg knows and that has sound in it; to be closed by the caller.

    Raises
    ------
    InputError
        When FFmpeg knows no such format, or there is no sound in it.
    """
    try:
        container = av.open(str(path), options={"protocol_whitelist": "file", "format_whitelist": AV_FORMATS})
    except av.FFmpegError as error:
        raise InputError(f"'{path}' is not a sound file that can be read, or it is damaged.") from error
    if not container.streams.audio:
        container.close()
        raise InputError(f"'{path}' has no sound in it; give a sound file, or a video with sound.")
    return container


def _read_with_ffmpeg(path: Path) -> Audio:
    with open_with_ffmpeg(path) as container:
        stream = container.streams.audio[0]
        declared_s = float(stream.duration * stream.time_base) if stream.duration and stream.time_base else None
        if declared_s is None and container.duration and not container.streams.video:
            declared_s = container.duration / av.time_base
        try:
            y, sr = _decode(path, container, stream)
        except av.FFmpegError as error:
            raise InputError(f"'{path}' is damaged and cannot be read; ask for the file again.") from error
        estimated = container.format.name in FORMATS_WITHOUT_LENGTH
    if declared_s is not None and not estimated and y.shape[1] / sr < declared_s - SHORTFALL_S:
        raise InputError(
            f"'{path}' breaks off: it declares {declared_s:.1f} s of sound and {y.shape[1] / sr:.1f} s can be read; "
            "ask for the file again."
        )
    return Audio(y, sr)


def _decode(path: Path, container: InputContainer, stream: AudioStream) -> tuple[Samples, int]:
    """All samples of a stream from its zero on; the end as the last packet and the edit list tell it."""
    sr = int(stream.codec_context.sample_rate)
    to_float = av.AudioResampler(format="fltp")
    blocks: list[Samples] = []
    end_s, packets, damaged = 0.0, 0, 0
    for packet in container.demux(stream):
        packets += 1
        length_s = float(packet.duration * packet.time_base) if packet.duration and packet.time_base else 0.0
        if packet.pts is not None and packet.time_base:
            end_s = max(end_s, float(packet.pts * packet.time_base) + length_s)
        try:
            frames = packet.decode()
        except av.InvalidDataError:
            damaged += 1
            blocks.append(np.zeros((1, round(length_s * sr)), dtype=np.float32))
            continue
        for frame in frames:
            parts = [frame] if frame.format.name == "fltp" else to_float.resample(frame)
            blocks += [np.asarray(part.to_ndarray(), dtype=np.float32) for part in parts]
    if damaged > MOST_DAMAGED * packets:
        raise InputError(f"'{path}' is damaged: {damaged} of {packets} packets cannot be read; ask for it again.")
    if not blocks:
        return np.zeros((1, 0), dtype=np.float32), sr
    channels = max(len(block) for block in blocks)
    y = np.concatenate([np.broadcast_to(b, (channels, b.shape[1])) for b in blocks], axis=1)
    if stream.duration and stream.time_base:
        edited_s = float(stream.duration * stream.time_base)
        end_s = edited_s if edited_s < end_s - EDIT_ROUNDING_S else end_s
    if container.format.name.startswith("mov") and end_s > 0.0:
        y = y[:, : round(end_s * sr)]
    return np.ascontiguousarray(y), sr
