"""WAV and Broadcast Wave files: chunks read and written here, so that every byte of a stem is accounted for.

The `bext` chunk follows EBU Tech 3285, version 2: 602 bytes of fixed fields, then the coding history.
"""

from __future__ import annotations

import struct
import unicodedata
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from obbligato.errors import InputError
from obbligato.sound.atomic import write_bytes_at_once
from obbligato.sound.audio import Audio

STREAMING_SIZES = (0, 0xFFFFFFFF)
"""Sizes that a program writes when it cannot go back to fill in the true one."""

PCM = 1
IEEE_FLOAT = 3
BEXT_FIXED = struct.Struct("<256s32s32s10s8sIIH64s5h180x")
BEXT_VERSION = 2
NOT_SET = 0x7FFF
MAX_RIFF_BYTES = 0xFFFFFFFF - 8


@dataclass(frozen=True)
class Chunk:
    """One chunk: its four-letter name, where its content starts in the file, and the size it declares."""

    name: str
    start: int
    size: int


@dataclass(frozen=True)
class BextInfo:
    """What a Broadcast Wave file says of itself.

    Texts are ASCII in the file: accents are dropped on writing, and texts longer than their field are cut
    (description 256, originator and reference 32, date 10 as yyyy-mm-dd, time 8 as hh:mm:ss).

    Attributes
    ----------
    time_reference
        Samples from the start of the session's timeline to the first sample of the file.
    loudness_lufs, loudness_range_lu, true_peak_dbtp, max_momentary_lufs, max_short_term_lufs
        Written to a hundredth; None where not stated.
    coding_history
        Lines as of EBU R 98, ended by CR and LF.
    """

    description: str = ""
    originator: str = ""
    originator_reference: str = ""
    origination_date: str = ""
    origination_time: str = ""
    time_reference: int = 0
    loudness_lufs: float | None = None
    loudness_range_lu: float | None = None
    true_peak_dbtp: float | None = None
    max_momentary_lufs: float | None = None
    max_short_term_lufs: float | None = None
    coding_history: str = ""
    umid: bytes = bytes(64)


def wav_chunks(path: Path) -> tuple[Chunk, ...]:
    """The chunks of a RIFF, RF64 or BW64 wave file in order, sizes as declared; empty for any other file.

    A chunk that declares more than the file holds is listed and ends the list.
    """
    length = path.stat().st_size
    chunks: list[Chunk] = []
    long_data_size: int | None = None
    with path.open("rb") as file:
        head = file.read(12)
        if len(head) < 12 or head[:4] not in (b"RIFF", b"RF64", b"BW64") or head[8:] != b"WAVE":
            return ()
        position = 12
        while position + 8 <= length:
            file.seek(position)
            name, size = struct.unpack("<4sI", file.read(8))
            if name == b"ds64":
                long_data_size = struct.unpack("<QQ", file.read(16).ljust(16, b"\0"))[1]
            if name == b"data" and size == 0xFFFFFFFF and long_data_size is not None:
                size = long_data_size
            chunks.append(Chunk(name.decode("latin-1"), position + 8, size))
            position += 8 + size + size % 2
    return tuple(chunks)


def wav_bit_depth(path: Path) -> int:
    """Bits per sample of a wave file, 32 or 64 for floating point.

    Raises
    ------
    InputError
        When the file is no wave file.
    """
    for chunk in wav_chunks(path):
        if chunk.name == "fmt " and chunk.size >= 16:
            with path.open("rb") as file:
                file.seek(chunk.start + 14)
                return int(struct.unpack("<H", file.read(2))[0])
    raise InputError(f"'{path}' is not a WAV file; give one with a format chunk.")


def read_bext(path: Path) -> BextInfo | None:
    """The broadcast extension of a wave file; None when there is none (or the file is no wave file)."""
    for chunk in wav_chunks(path):
        if chunk.name == "bext" and chunk.size >= BEXT_FIXED.size:
            with path.open("rb") as file:
                file.seek(chunk.start)
                content = file.read(chunk.size)
            return _unpack_bext(content) if len(content) == chunk.size else None
    return None


def write_wav(
    path: Path, audio: Audio, *, bit_depth: int = 24, bext: BextInfo | None = None, overwrite: bool = False
) -> None:
    """Write a wave file: whole or not at all, the same bytes for the same input.

    Samples are rounded to the nearest step, without dither, so that 16- and 24-bit sound read from a file is
    written back unchanged. A sample of exactly 1.0 takes the highest step, one step lower.

    Parameters
    ----------
    bit_depth
        16 or 24 (integers), or 32 (floating point).
    bext
        Makes it a Broadcast Wave file.

    Raises
    ------
    InputError
        When the file exists and `overwrite` is off, the folder cannot be written, the sound is empty, not finite
        or (for integers) beyond full scale, or the file would pass 4 GiB.
    """
    content = wav_bytes(audio, bit_depth=bit_depth, bext=bext)
    write_bytes_at_once(path, content, overwrite=overwrite)


def wav_bytes(audio: Audio, *, bit_depth: int = 24, bext: BextInfo | None = None) -> bytes:
    """The content of the wave file that `write_wav` writes."""
    if bit_depth not in (16, 24, 32):
        raise InputError(f"bit_depth={bit_depth} cannot be written; choose 16, 24 or 32 (floating point).")
    if audio.n_samples == 0:
        raise InputError("There is no sound to write: it has zero samples.")
    if not np.isfinite(audio.y).all():
        raise InputError("The sound has samples that are no numbers and cannot be written.")
    data = _float_data(audio) if bit_depth == 32 else _integer_data(audio, bit_depth)
    block = audio.channels * bit_depth // 8
    kind = IEEE_FLOAT if bit_depth == 32 else PCM
    fmt = struct.pack("<HHIIHH", kind, audio.channels, audio.sr, audio.sr * block, block, bit_depth)
    parts = [] if bext is None else [_chunk(b"bext", _pack_bext(bext))]
    if bit_depth == 32:
        parts += [_chunk(b"fmt ", fmt + b"\0\0"), _chunk(b"fact", struct.pack("<I", audio.n_samples))]
    else:
        parts.append(_chunk(b"fmt ", fmt))
    head_bytes = sum(map(len, parts))
    if 4 + head_bytes + 9 + len(data) > MAX_RIFF_BYTES:
        raise InputError("The sound is too long for one WAV file (4 GiB); write it in parts.")
    parts.append(_chunk(b"data", data))
    body = b"".join(parts)
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WAVE" + body


def _chunk(name: bytes, content: bytes) -> bytes:
    return name + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)


def _float_data(audio: Audio) -> bytes:
    return np.ascontiguousarray(audio.y.T, dtype="<f4").tobytes()


def _integer_data(audio: Audio, bit_depth: int) -> bytes:
    peak = float(np.max(np.abs(audio.y)))
    if peak > 1.0:
        raise InputError(
            f"The sound passes full scale (its highest sample is {peak:.3f} times full scale) and would be clipped "
            f"at {bit_depth} bits; turn it down by at least {20.0 * np.log10(peak):.2f} dB, or write floating point."
        )
    steps = np.float32(2 ** (bit_depth - 1))
    whole = np.minimum(np.rint(audio.y.T * steps), steps - 1).astype("<i4")
    if bit_depth == 16:
        return bytes(whole.astype("<i2").tobytes())
    four_bytes = np.ascontiguousarray(whole).view(np.uint8).reshape(-1, 4)
    return bytes(four_bytes[:, :3].tobytes())


def _ascii(text: str, length: int | None = None) -> bytes:
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore")
    return plain[:length]


def _hundredths(value: float | None) -> int:
    return NOT_SET if value is None else int(np.clip(round(value * 100), -0x8000, NOT_SET - 1))


def _pack_bext(bext: BextInfo) -> bytes:
    fixed = BEXT_FIXED.pack(
        _ascii(bext.description, 256),
        _ascii(bext.originator, 32),
        _ascii(bext.originator_reference, 32),
        _ascii(bext.origination_date, 10),
        _ascii(bext.origination_time, 8),
        bext.time_reference & 0xFFFFFFFF,
        bext.time_reference >> 32,
        BEXT_VERSION,
        bext.umid,
        _hundredths(bext.loudness_lufs),
        _hundredths(bext.loudness_range_lu),
        _hundredths(bext.true_peak_dbtp),
        _hundredths(bext.max_momentary_lufs),
        _hundredths(bext.max_short_term_lufs),
    )
    lines = bext.coding_history.splitlines()
    return fixed + _ascii("".join(f"{line}\r\n" for line in lines))


def _unpack_bext(content: bytes) -> BextInfo:
    fields = BEXT_FIXED.unpack_from(content)
    texts = [raw.split(b"\0")[0].decode("ascii", "replace") for raw in fields[:5]]
    low, high, version, umid = fields[5:9]
    levels: list[float | None] = [None] * 5
    if version >= 2:
        levels = [None if raw == NOT_SET else raw / 100.0 for raw in fields[9:14]]
    history = content[BEXT_FIXED.size :].split(b"\0")[0].decode("ascii", "replace")
    return BextInfo(
        description=texts[0],
        originator=texts[1],
        originator_reference=texts[2],
        origination_date=texts[3],
        origination_time=texts[4],
        time_reference=(high << 32) | low,
        loudness_lufs=levels[0],
        loudness_range_lu=levels[1],
        true_peak_dbtp=levels[2],
        max_momentary_lufs=levels[3],
        max_short_term_lufs=levels[4],
        coding_history=history,
        umid=umid if version >= 1 else bytes(64),
    )
