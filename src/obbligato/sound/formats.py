"""What kind of file it is: container, codec, bit depth, and the encoder's delay."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import av
import soundfile

from obbligato.errors import InputError
from obbligato.sound.files import LIBSNDFILE_MAGICS, open_with_ffmpeg
from obbligato.sound.mp3 import DECODER_DELAY, USUAL_ENCODER_DELAY, read_tag

CONTAINERS = {"wavex": "wav", "rf64": "wav", "mov": "mp4", "aac": "adts"}
PCM_BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
FLOAT_BITS = {"FLOAT": 32, "DOUBLE": 64}
LOSSLESS_IN_FFMPEG = ("alac", "flac", "wavpack", "ape", "tta")
OPUS_HEAD = b"OpusHead"


@dataclass(frozen=True)
class FileFormat:
    """The form of a sound file.

    Attributes
    ----------
    bit_depth
        Bits per sample where the sound is lossless (32 or 64 for floating point), else None.
    encoder_delay_samples
        As `SourceFacts` has it.
    delay_declared
        Whether a decoder can take the delay away; False for a lossy file that leaves its listener to guess, None
        where there is no delay.
    """

    container: str
    codec: str
    bit_depth: int | None
    encoder_delay_samples: int | None
    delay_declared: bool | None


def file_format(path: Path) -> FileFormat:
    """Read the form of a sound file from its heads.

    Raises
    ------
    InputError
        When the file is no sound file.
    """
    with path.open("rb") as file:
        head = file.read(1 << 16)
    if head[:4] in LIBSNDFILE_MAGICS:
        try:
            info = soundfile.info(str(path))
        except soundfile.LibsndfileError:
            return _ffmpeg_format(path)
        container = CONTAINERS.get(info.format.lower(), info.format.lower())
        return _libsndfile_format(container, info.subtype, head)
    return _ffmpeg_format(path)


def _libsndfile_format(container: str, subtype: str, head: bytes) -> FileFormat:
    if subtype in PCM_BITS:
        return FileFormat(container, "flac" if container == "flac" else "pcm", PCM_BITS[subtype], None, None)
    if subtype in FLOAT_BITS:
        return FileFormat(container, "pcm float", FLOAT_BITS[subtype], None, None)
    at = head.find(OPUS_HEAD)
    if subtype == "OPUS" and at >= 0:
        return FileFormat(container, "opus", None, struct.unpack_from("<H", head, at + 10)[0], True)
    if subtype.startswith("ALAC_"):
        return FileFormat(container, "alac", int(subtype.removeprefix("ALAC_")), None, None)
    return FileFormat(container, subtype.lower().replace("_", " "), None, None, None)


def _ffmpeg_format(path: Path) -> FileFormat:
    with open_with_ffmpeg(path) as container:
        stream = container.streams.audio[0]
        codec = str(stream.codec_context.codec.canonical_name)
        name = container.format.name.split(",")[0]
        sample_format = stream.codec_context.format.name
        declared = _declared_skip(container, stream)
    name = CONTAINERS.get(name, name)
    if codec == "mp3":
        return _mp3_format(path, name)
    if codec.startswith("pcm_") or codec in LOSSLESS_IN_FFMPEG:
        bits = {"u8": 8, "s16": 16, "s32": 24, "flt": 32, "dbl": 64}.get(sample_format.removesuffix("p"))
        return FileFormat(name, codec.replace("_", " "), bits, None, None)
    if codec in ("aac", "opus"):
        return FileFormat(name, codec, None, declared or None, declared > 0)
    return FileFormat(name, codec, None, declared or None, True if declared else None)


def _mp3_format(path: Path, container: str) -> FileFormat:
    tag = read_tag(path) if container == "mp3" else None
    if tag is not None and tag.delay_samples is not None:
        return FileFormat(container, "mp3", None, tag.delay_samples, True)
    return FileFormat(container, "mp3", None, USUAL_ENCODER_DELAY + DECODER_DELAY, False)


def _declared_skip(container: av.container.InputContainer, stream: av.audio.stream.AudioStream) -> int:
    """Samples that the container tells a decoder to drop at the start."""
    try:
        packet = next(container.demux(stream))
    except (StopIteration, av.FFmpegError) as error:
        raise InputError("The sound in this file cannot be read; ask for it again.") from error
    for side in packet.iter_sidedata():
        if side.data_type == "skip_samples":
            return int(struct.unpack_from("<I", bytes(side))[0])
    return 0
