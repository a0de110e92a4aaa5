"""A wave file that can be read at every moment while it grows, so that nothing but its last moments can be lost.

Sound is appended first and brought to the disk, and only then do the sizes in the header grow: they never promise
more than is there. Room for 64-bit sizes stands in the header from the start, as EBU Tech 3306 has it (a `JUNK` chunk
of 28 bytes right behind `WAVE`), and becomes the `ds64` chunk of an RF64 file when the sound passes 4 GiB.
"""

from __future__ import annotations

import os
import struct
from pathlib import Path

import numpy as np

from obbligato.errors import InputError
from obbligato.sound.audio import Samples
from obbligato.sound.wav import MAX_RIFF_BYTES, PCM, wav_chunks

BYTES_PER_SAMPLE = 3
HEADER = struct.Struct("<4sI4s 4sI28s 4sIHHIIHH 4sI")
LONG_SIZES = struct.Struct("<QQQI")
LONG = 0xFFFFFFFF


class GrowingWav:
    """A new 24-bit wave file that is written piece by piece.

    Attributes
    ----------
    path, sr, channels
        The file, its rate in Hz and its number of channels.
    frames
        Frames that the header promises, safe on the disk.
    """

    def __init__(self, path: Path, *, sr: int, channels: int) -> None:
        self.path, self.sr, self.channels = path, sr, channels
        self.frames = 0
        self._appended = 0
        try:
            self._file = path.open("x+b", buffering=0)
        except FileExistsError:
            raise InputError(f"'{path}' exists already and is not overwritten; choose another name.") from None
        self._write_header(0)

    def append(self, y: Samples) -> None:
        """Append frames of shape (n, channels), full scale 1.0; what passes full scale is clipped to it.

        Raises
        ------
        OSError
            When the disk is full or gone; what was promised before stays readable.
        """
        data = _pcm_24(y)
        self._file.seek(HEADER.size + self._appended * self.channels * BYTES_PER_SAMPLE)
        view = memoryview(data)
        while view:
            view = view[self._file.write(view) or 0 :]
        self._appended += len(y)

    def flush(self) -> None:
        """Bring all that was appended to the disk, then say so in the header."""
        if self._appended == self.frames:
            return
        os.fsync(self._file.fileno())
        self._write_header(self._appended)
        self.frames = self._appended

    def close(self) -> None:
        """Close the file with what is promised; call `flush` first to keep all."""
        if self._file.closed:
            return
        self._file.truncate(HEADER.size + self.frames * self.channels * BYTES_PER_SAMPLE)
        self._pad()
        self._file.close()

    def _pad(self) -> None:
        # RIFF chunks are padded to an even size; without room on the disk readers do without the byte.
        if self.frames * self.channels * BYTES_PER_SAMPLE % 2:
            try:
                self._file.seek(0, os.SEEK_END)
                self._file.write(b"\0")
                os.fsync(self._file.fileno())
            except OSError:
                return

    def _write_header(self, frames: int) -> None:
        self._file.seek(0)
        self._file.write(header(frames, sr=self.sr, channels=self.channels))
        os.fsync(self._file.fileno())


def header(frames: int, *, sr: int, channels: int) -> bytes:
    """The first bytes of a wave file of so many frames: RIFF as long as its sizes fit, RF64 beyond."""
    block = channels * BYTES_PER_SAMPLE
    data = frames * block
    riff = HEADER.size - 8 + data + data % 2
    is_long = riff > MAX_RIFF_BYTES
    sizes = LONG_SIZES.pack(riff, data, frames, 0) if is_long else bytes(LONG_SIZES.size)
    return HEADER.pack(
        b"RF64" if is_long else b"RIFF",
        LONG if is_long else riff,
        b"WAVE",
        b"ds64" if is_long else b"JUNK",
        LONG_SIZES.size,
        sizes,
        b"fmt ",
        16,
        PCM,
        channels,
        sr,
        sr * block,
        block,
        8 * BYTES_PER_SAMPLE,
        b"data",
        LONG if is_long else data,
    )


def complete(path: Path) -> int:
    """Give a file that was cut off while it grew all the frames it holds, and return how many these are.

    Raises
    ------
    InputError
        When the file was not begun by `GrowingWav`.
    """
    names = [chunk.name for chunk in wav_chunks(path)]
    if names[:1] not in (["JUNK"], ["ds64"]) or names[1:3] != ["fmt ", "data"]:
        raise InputError(f"'{path}' is not a take that was cut off; there is nothing to recover in it.")
    with path.open("r+b") as file:
        fields = HEADER.unpack(file.read(HEADER.size))
        channels, sr, block = fields[9], fields[10], fields[12]
        frames = (path.stat().st_size - HEADER.size) // block
        file.truncate(HEADER.size + frames * block)
        file.seek(0)
        file.write(header(frames, sr=sr, channels=channels))
        if frames * block % 2:
            file.seek(0, os.SEEK_END)
            file.write(b"\0")
        file.flush()
        os.fsync(file.fileno())
    return int(frames)


def _pcm_24(y: Samples) -> bytes:
    steps = 2 ** (8 * BYTES_PER_SAMPLE - 1)
    whole = np.clip(np.rint(y.astype(np.float64) * steps), -steps, steps - 1).astype("<i4")
    return bytes(np.ascontiguousarray(whole).view(np.uint8).reshape(-1, 4)[:, :BYTES_PER_SAMPLE].tobytes())
