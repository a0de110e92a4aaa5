"""Was the file cut short on its way? The container's own sizes against the bytes that are there."""

from __future__ import annotations

import struct
from pathlib import Path

from obbligato.errors import InputError
from obbligato.sound.mp3 import missing_bytes, mp3_tag
from obbligato.sound.wav import STREAMING_SIZES, wav_chunks

HEAD_BYTES = 1 << 16
OGG_PAGE = struct.Struct("<4sBBqIIIB")
LARGEST_OGG_PAGE = 27 + 255 + 255 * 255
MP3_SLACK_BYTES = 1
"""A last frame may lack a byte: encoders differ on counting its padding."""


def require_complete(path: Path) -> None:
    """Refuse a file that ends before its own declared end.

    WAV and AIFF are held against the size of their sound chunk (sizes left open by streaming programs are accepted),
    MP3 against the length in its tag, Ogg against the length of its last page. Other formats pass.

    Raises
    ------
    InputError
        When bytes are missing.
    """
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    length = path.stat().st_size
    if head[:4] in (b"RIFF", b"RF64", b"BW64") and head[8:12] == b"WAVE":
        missing = _missing_from_wav(path, length, riff_size=struct.unpack("<I", head[4:8])[0])
    elif head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        missing = _missing_from_aiff(path, length)
    elif head[:4] == b"OggS":
        missing = _missing_from_ogg(path, length)
    elif mp3_tag(head) is not None:
        missing = missing_bytes(path.read_bytes())
        missing = missing if missing > MP3_SLACK_BYTES else 0
    else:
        missing = 0
    if missing:
        raise InputError(f"'{path}' was cut short: {missing} bytes of it are missing; ask for the file again.")


def _missing_from_wav(path: Path, length: int, *, riff_size: int) -> int:
    data = [chunk for chunk in wav_chunks(path) if chunk.name == "data"]
    if not data:
        raise InputError(f"'{path}' is a WAV file without any sound in it; ask for the file again.")
    chunk = data[0]
    left_open = chunk.size in STREAMING_SIZES and riff_size != length - 8
    return 0 if left_open else max(0, chunk.start + chunk.size - length)


def _missing_from_aiff(path: Path, length: int) -> int:
    position = 12
    with path.open("rb") as file:
        while position + 8 <= length:
            file.seek(position)
            name, size = file.read(4), int.from_bytes(file.read(4), "big")
            position += 8 + size
            if name == b"SSND":
                return max(0, position - length)
            position += size % 2
    raise InputError(f"'{path}' is an AIFF file without any sound in it; ask for the file again.")


def _missing_from_ogg(path: Path, length: int) -> int:
    with path.open("rb") as file:
        file.seek(max(0, length - LARGEST_OGG_PAGE))
        tail = file.read()
    at = tail.rfind(b"OggS")
    if at < 0:
        return 0
    page = tail[at:]
    if len(page) < OGG_PAGE.size:
        return OGG_PAGE.size - len(page)
    segments: int = page[26]
    if len(page) < OGG_PAGE.size + segments:
        return OGG_PAGE.size + segments - len(page)
    return max(0, OGG_PAGE.size + segments + sum(page[27 : 27 + segments]) - len(page))
