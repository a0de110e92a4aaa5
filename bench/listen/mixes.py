"""How a mix leaves the client's house: dry, mastered loud, lo-fi mono, or through a lossy codec."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import soxr
from scipy import signal

from obbligato.sound.audio import Audio
from obbligato.sound.files import write_mp3, write_wav

MIXES = ("dry", "loud", "lo-fi", "mp3", "aac")
SUFFIX = {"mp3": ".mp3", "aac": ".m4a"}


def write(path_without_suffix: Path, y: np.ndarray, sr: int, mix: str) -> Path:
    """Write a mix, shape (2, n); the path that was written."""
    y = 0.7 * y / max(1e-9, float(np.abs(y).max()))
    if mix == "loud":
        y = 0.97 * np.tanh(y / np.sqrt(np.mean(y**2)) * 10.0 ** (-9.0 / 20.0)) / np.tanh(3.0)
        y = np.clip(y, -0.97, 0.97)
    if mix == "lo-fi":
        y, sr = _lofi(y, sr)
    audio = Audio(np.ascontiguousarray(y, dtype=np.float32), sr)
    path = path_without_suffix.with_suffix(SUFFIX.get(mix, ".wav"))
    if mix == "mp3":
        write_mp3(path, audio, kbps=128, overwrite=True)
    elif mix == "aac":
        _write_aac(path, audio)
    else:
        write_wav(path, audio, bit_depth=16, overwrite=True)
    return path


def _lofi(y: np.ndarray, sr: int) -> tuple[np.ndarray, int]:
    """A telephone's memo: mono, 120 Hz to 7 kHz, hiss 45 dB under the mix, 22.05 kHz."""
    mono = y.mean(axis=0)
    band = signal.sosfilt(signal.butter(2, (120.0, 7000.0), "bandpass", fs=sr, output="sos"), mono)
    hiss = np.random.default_rng(1).standard_normal(band.size)
    level = np.sqrt(np.mean(band**2))
    out = soxr.resample(band + hiss * level * 10.0 ** (-45.0 / 20.0), sr, 22050)
    return (0.8 * out / np.abs(out).max())[None, :], 22050


def _write_aac(path: Path, audio: Audio) -> None:
    with av.open(str(path), "w", format="mp4") as out:
        stream = out.add_stream("aac", rate=audio.sr, layout="stereo", bit_rate=128000)
        frame = av.AudioFrame.from_ndarray(audio.y, format="fltp", layout="stereo")
        frame.sample_rate = audio.sr
        frame.pts = 0
        for packet in (*stream.encode(frame), *stream.encode(None)):
            out.mux(packet)
