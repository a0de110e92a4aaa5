"""Encoding to MP3: the LAME library makes the frames, the tag frame before them is written here."""

from __future__ import annotations

import lameenc
import numpy as np

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.sound.mp3 import KBPS_MPEG1, KBPS_MPEG2, USUAL_ENCODER_DELAY, FrameHeader, parse_header
from obbligato.sound.rate import resample

MP3_RATES = (48000, 44100, 32000, 24000, 22050, 16000, 12000, 11025, 8000)
MAX_CHANNELS = 2
LAME_QUALITY = 7
"""On LAME's scale from 0 (slowest) to 9: what is encoded here is for sending and judging, and 7 is quick."""

TAG_BYTES = 156
"""From "Info" to the end of the LAME extension: 8 + 4 + 4 + 100 + 4 + 36."""


def mp3_bytes(audio: Audio, *, kbps: int = 160, delay_tag: bool = True) -> bytes:
    """Encode to MP3 at a constant bit rate, the same bytes for the same input and encoder version.

    Parameters
    ----------
    kbps
        Bit rate in kbit/s, one that the format knows at this sampling rate (such as 128, 160, 192).
    delay_tag
        Begin with an Info frame that declares the encoder's delay and padding, so that decoders give the exact
        length back, starting at sample 0. Without it the sound comes out 1105 samples late.

    Notes
    -----
    Rates that MP3 does not know are resampled to 48000 Hz, or 44100 Hz where that divides them. The encoder is given
    16-bit samples.

    Raises
    ------
    InputError
        When the sound is empty, beyond full scale or has more than two channels, or the bit rate is unknown.
    """
    if audio.n_samples == 0:
        raise InputError("There is no sound to encode: it has zero samples.")
    if audio.channels > MAX_CHANNELS:
        raise InputError(f"MP3 takes one or two channels, not {audio.channels}; mix them down first.")
    if not np.isfinite(audio.y).all() or np.abs(audio.y).max() > 1.0:
        raise InputError("The sound passes full scale and would be clipped in an MP3; turn it down first.")
    if audio.sr not in MP3_RATES:
        audio = resample(audio, 44100 if audio.sr % 44100 == 0 else 48000)
    rates = KBPS_MPEG1 if audio.sr >= 32000 else KBPS_MPEG2
    if kbps not in rates[1:]:
        raise InputError(f"kbps={kbps} is no MP3 bit rate at {audio.sr} Hz; choose one of {rates[1:]}.")
    encoder = lameenc.Encoder()
    encoder.silence()
    encoder.set_in_sample_rate(audio.sr)
    encoder.set_out_sample_rate(audio.sr)
    encoder.set_channels(audio.channels)
    encoder.set_bit_rate(kbps)
    encoder.set_quality(LAME_QUALITY)
    steps = np.clip(np.rint(audio.y.T * np.float32(32768)), -32768, 32767).astype("<i2")
    frames = bytes(encoder.encode(steps.tobytes())) + bytes(encoder.flush())
    return info_frame(frames, audio.n_samples) + frames if delay_tag else frames


def info_frame(frames: bytes, n_samples: int) -> bytes:
    """The tag frame that goes before `frames`, the constant-rate encoding of `n_samples` with the usual delay.

    The layout is that of the Xing header with the LAME extension; levels and preset are left at zero (not stated).
    """
    head = parse_header(frames[:4])
    if head is None:
        raise ValueError("frames must begin with a frame header")
    n_frames, longest = _count_frames(frames)
    padding = n_frames * head.samples - USUAL_ENCODER_DELAY - n_samples
    word, size = _tag_header(frames[:4], head)
    total = size + len(frames)
    places = bytes(min(255, 256 * position // 100) for position in range(100))
    tag = b"Info" + (15).to_bytes(4, "big") + n_frames.to_bytes(4, "big") + total.to_bytes(4, "big") + places
    tag += (100 - 10 * LAME_QUALITY).to_bytes(4, "big")
    lame = b"LAME     " + b"\x01" + bytes(1) + bytes(8) + bytes(1) + bytes([min(255, longest)])
    lame += (USUAL_ENCODER_DELAY << 12 | padding).to_bytes(3, "big")
    lame += bytes(4) + total.to_bytes(4, "big") + _crc16(frames).to_bytes(2, "big")
    frame = word + bytes(head.side_info_bytes) + tag + lame
    return (frame + _crc16(frame).to_bytes(2, "big")).ljust(size, b"\0")


def _count_frames(frames: bytes) -> tuple[int, int]:
    """Number of frames and the bit rate in kbit/s."""
    count = position = kbps = 0
    while (header := parse_header(frames[position : position + 4])) is not None:
        kbps = (KBPS_MPEG1 if header.mpeg1 else KBPS_MPEG2)[frames[position + 2] >> 4]
        count, position = count + 1, position + header.n_bytes
    return count, kbps


def _tag_header(word: bytes, head: FrameHeader) -> tuple[bytes, int]:
    """The header of the smallest frame of this kind that holds the tag, without padding, and its size."""
    side_info = 32 if head.mpeg1 else 17
    for index in range(1, 15):
        candidate = bytes([word[0], word[1] | 1, index << 4 | word[2] & 0x0C, word[3]])
        header = parse_header(candidate)
        if header is not None and header.n_bytes >= 4 + side_info + TAG_BYTES:
            return candidate, header.n_bytes
    raise ValueError("no frame of this kind holds the tag")


def _crc16(content: bytes) -> int:
    """CRC-16 with the reflected polynomial 0xA001, as the extension uses it."""
    crc = 0
    for byte in content:
        crc = crc >> 8 ^ _CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc


def _crc_entry(value: int) -> int:
    for _ in range(8):
        value = value >> 1 ^ (0xA001 if value & 1 else 0)
    return value


_CRC_TABLE = tuple(_crc_entry(value) for value in range(256))
