"""MP3 files: frame headers, and what the first frame declares.

An MP3 encoder puts silence before the music (576 samples with the usual encoder) and the decoder adds 529 more.
The Xing/Info frame with its LAME extension declares the encoder's delay and the padding at the end, so that a
decoder can take both away; without it the sound stays late by their sum.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

DECODER_DELAY = 529
"""Samples a standard decoder adds (528 + 1, the figure in the LAME technical FAQ)."""

USUAL_ENCODER_DELAY = 576
"""The usual encoder's delay, in samples (LAME technical FAQ)."""

_RATES = {3: (44100, 48000, 32000), 2: (22050, 24000, 16000), 0: (11025, 12000, 8000)}
KBPS_MPEG1 = (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320)
KBPS_MPEG2 = (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160)


@dataclass(frozen=True)
class FrameHeader:
    """The four bytes before each layer III frame."""

    mpeg1: bool
    sample_rate: int
    channels: int
    n_bytes: int

    @property
    def samples(self) -> int:
        """Samples per channel in the frame."""
        return 1152 if self.mpeg1 else 576

    @property
    def side_info_bytes(self) -> int:
        """Bytes between the header and the sound; a tag stands behind them."""
        if self.mpeg1:
            return 32 if self.channels == 2 else 17
        return 17 if self.channels == 2 else 9


@dataclass(frozen=True)
class Mp3Tag:
    """What the Xing/Info frame declares; None for what it leaves out.

    Attributes
    ----------
    frames, n_bytes
        Audio frames, and bytes from this frame to the end of the last.
    delay_samples, padding_samples
        The encoder's delay and the padding at the end; both None without the LAME extension.
    """

    start: int
    frames: int | None
    n_bytes: int | None
    delay_samples: int | None
    padding_samples: int | None


def parse_header(word: bytes) -> FrameHeader | None:
    """Read a layer III frame header; None when the four bytes are none."""
    if len(word) < 4 or word[0] != 0xFF or word[1] & 0xE6 != 0xE2:
        return None
    version, rate_index, bitrate_index = word[1] >> 3 & 3, word[2] >> 2 & 3, word[2] >> 4
    if version == 1 or rate_index == 3 or bitrate_index in (0, 15):
        return None
    mpeg1 = version == 3
    sample_rate = _RATES[version][rate_index]
    kbps = (KBPS_MPEG1 if mpeg1 else KBPS_MPEG2)[bitrate_index]
    n_bytes = (144 if mpeg1 else 72) * kbps * 1000 // sample_rate + (word[2] >> 1 & 1)
    return FrameHeader(mpeg1, sample_rate, 1 if word[3] >> 6 == 3 else 2, n_bytes)


def first_frame(content: bytes) -> int | None:
    """Where the first frame starts: behind an ID3v2 tag, where two headers in a row agree; None if nowhere near."""
    start = 0
    while content[start : start + 3] == b"ID3" and len(content) >= start + 10:
        a, b, c, d = content[start + 6 : start + 10]
        start += 10 + (a << 21 | b << 14 | c << 7 | d) + (10 if content[start + 5] & 0x10 else 0)
    for position in range(start, min(start + 65536, len(content) - 3)):
        header = parse_header(content[position : position + 4])
        if header is None:
            continue
        after = parse_header(content[position + header.n_bytes : position + header.n_bytes + 4])
        if position + header.n_bytes >= len(content) - 3 or (after and after.sample_rate == header.sample_rate):
            return position
    return None


def mp3_tag(content: bytes) -> Mp3Tag | None:
    """The Xing/Info frame of an MP3 file's content; None when the file begins with sound at once."""
    start = first_frame(content)
    header = None if start is None else parse_header(content[start : start + 4])
    if start is None or header is None:
        return None
    at = start + 4 + header.side_info_bytes
    if content[at : at + 4] not in (b"Xing", b"Info") or len(content) < at + 8:
        return None
    flags = content[at + 7]
    at += 8
    frames = n_bytes = delay = padding = None
    if flags & 1:
        frames, at = struct.unpack_from(">I", content, at)[0], at + 4
    if flags & 2:
        n_bytes, at = struct.unpack_from(">I", content, at)[0], at + 4
    at += (100 if flags & 4 else 0) + (4 if flags & 8 else 0)
    extension = content[at : min(at + 24, start + header.n_bytes)]
    if len(extension) == 24 and any(extension[:4]):
        packed = int.from_bytes(extension[21:24], "big")
        delay, padding = packed >> 12, packed & 0xFFF
    return Mp3Tag(start, frames, n_bytes, delay, padding)


def missing_bytes(content: bytes) -> int:
    """How many bytes less than declared the file has: by the tag, or by a last frame that breaks off; else 0."""
    tag = mp3_tag(content)
    if tag is not None and tag.n_bytes is not None:
        return max(0, tag.n_bytes - (len(content) - tag.start))
    position = first_frame(content)
    while position is not None and position < len(content) - 3:
        header = parse_header(content[position : position + 4])
        if header is None:
            return 0
        position += header.n_bytes
    return 0 if position is None else max(0, position - len(content))


def read_tag(path: Path) -> Mp3Tag | None:
    """`mp3_tag` of a file."""
    return mp3_tag(path.read_bytes())
