import av
import numpy as np
import pytest
from scipy import signal

from obbligato.sound.audio import Audio


@pytest.fixture
def rng():
    return np.random.default_rng(11)


@pytest.fixture
def noise(rng):
    """Noise below 3 kHz, which every codec keeps, at a fifth of full scale."""

    def make(n_samples, sr=44100, channels=1):
        sos = signal.butter(4, 3000, fs=sr, output="sos")
        y = signal.sosfilt(sos, rng.standard_normal((channels, n_samples)), axis=-1)
        return Audio((0.2 * y / np.abs(y).max()).astype(np.float32), sr)

    return make


@pytest.fixture
def encode_with_ffmpeg(tmp_path):
    """Write a mono sound through FFmpeg's own encoders and muxers."""

    def encode(audio, name, *, muxer, codec):
        path = tmp_path / name
        with av.open(str(path), "w", format=muxer) as container:
            stream = container.add_stream(codec, rate=audio.sr)
            stream.layout = "mono"
            frame = av.AudioFrame.from_ndarray(audio.y, format="fltp", layout="mono")
            frame.sample_rate, frame.pts = audio.sr, 0
            form = stream.codec_context
            cutter = av.AudioResampler(
                format=form.format, layout="mono", rate=audio.sr, frame_size=form.frame_size or 1024
            )
            for piece in (*cutter.resample(frame), *cutter.resample(None)):
                container.mux(stream.encode(piece))
            container.mux(stream.encode(None))
        return path

    return encode


@pytest.fixture
def offset_samples():
    """By how many samples `y` is late against `x`, from their cross-correlation."""

    def measure(y, x):
        product = signal.correlate(y.astype(np.float64), x.astype(np.float64), method="fft")
        return int(np.argmax(product)) - (len(x) - 1)

    return measure
