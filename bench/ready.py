"""How well the ready check works: faults by instruments caught, and false alarms on clean recordings; one table.

Two kinds of players: the invented ones of `players` and the recorded samples of the SoundFont, five instruments each,
in a constructed room with noise. Faults are put into their recordings; a fault counts as caught when the check of
that name is wrong (the suppressor's after any of its consequences is put right), and a clean recording as a false
alarm when anything at all is.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import scipy.ndimage
import scipy.signal
from numpy.typing import NDArray

import players
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Line, Note
from obbligato.music.phrases import find_phrases
from obbligato.play.mockup import render_line
from obbligato.play.ready import check_recording
from obbligato.sound.audio import Audio

SR = 48000
PEAK_DBFS = -9.0
NOISE_DBFS = -68.0
SAMPLED = ("Trumpet in Bb", "Alto Sax in Eb", "Violin", "Flute", "Guitar")
Sound = NDArray[np.float64]


def recordings(*, seconds: float = 14.0, seed: int = 31) -> dict[str, Audio]:
    """Clean recordings for the check: three seconds of a room, then playing with rests; peaks at -9 dBFS."""
    rng = np.random.default_rng(seed)
    line = players.invent_line(rng, phrases=3)
    dry = {
        f"{timbre}, invented": players.play(line, players.Playing(timbre=timbre, noise_dbfs=-120.0), rng).y[0]
        for timbre in players.TIMBRES
    }
    dry |= {f"{name}, sampled": _sampled(name) for name in SAMPLED}
    return {name: _in_a_room(y.astype(np.float64), rng, seconds) for name, y in dry.items()}


def _sampled(name: str) -> NDArray[np.float32]:
    instrument = find_instrument(name)
    low = instrument.to_sounding(instrument.comfortable_low) + 7
    steps = (0, 4, 7, 12, 7, 4, 0, 5)
    notes = tuple(
        Note(4.0 * (i // 3) + (i % 3), 0.9, low + steps[i % len(steps)], 70 + 5 * (i % 6)) for i in range(15)
    )
    grid = Grid.steady(110.0, 3.0, Meter())
    line = Line(notes, find_phrases(notes, grid))
    return render_line(line, grid, instrument, n_samples=14 * SR, sr=SR, a4_hz=440.0).y[0]


def _in_a_room(y: Sound, rng: np.random.Generator, seconds: float) -> Audio:
    """Reverberation of 0.3 s, noise as rooms have it (falling by 3 dB an octave) and white noise of the amplifier."""
    y = y[np.flatnonzero(np.abs(y) > 1e-3)[0] :]
    y = np.concatenate([np.zeros(3 * SR), y])[: round(seconds * SR)]
    y = np.pad(y, (0, round(seconds * SR) - len(y)))
    decay = rng.standard_normal(SR // 3) * 10 ** (-3.0 * np.arange(SR // 3) / (0.3 * SR))
    wet = scipy.signal.oaconvolve(y, decay / np.sqrt(np.sum(decay**2)))[: len(y)]
    y = y + 0.15 * wet
    y *= 10 ** (PEAK_DBFS / 20) / np.abs(y).max()
    return Audio((y + _noise(len(y), NOISE_DBFS, rng)).astype(np.float32), SR)


def _noise(n: int, dbfs: float, rng: np.random.Generator) -> Sound:
    spectrum = np.fft.rfft(rng.standard_normal(n))
    pink = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.fft.rfftfreq(n, 1 / SR), 20.0)), n)
    noise = pink / pink.std() + 0.5 * rng.standard_normal(n)
    return np.asarray(noise / noise.std() * 10 ** (dbfs / 20))


def nothing(y: Sound) -> Sound:
    return 1e-6 * np.random.default_rng(1).standard_normal(y.shape)


def only_the_room(y: Sound) -> Sound:
    return np.asarray(np.tile(y[:, : 2 * SR], 7)[:, : y.shape[1]])


def too_loud(y: Sound) -> Sound:
    return y * 10 ** (7.0 / 20)


def too_soft(y: Sound) -> Sound:
    return y * 10 ** (-16.0 / 20)


def clipped(y: Sound) -> Sound:
    return np.clip(y * 10 ** (14.0 / 20), -1.0, 1.0)


def overdriven_before(y: Sound) -> Sound:
    """Clipped at 40 % of the highest crest, then 8 dB down, through a coupling capacitor of 5 Hz, with hiss."""
    top = 0.4 * np.abs(y).max()
    flat = np.clip(y, -top, top)
    flat = flat / np.abs(flat).max() * 10 ** (-8.0 / 20)
    sos = scipy.signal.butter(1, 5.0, "highpass", fs=SR, output="sos")
    return np.asarray(scipy.signal.sosfilt(sos, flat) + 1e-5 * np.random.default_rng(2).standard_normal(y.shape))


def hum(mains_hz: float) -> Callable[[Sound], Sound]:
    def added(y: Sound) -> Sound:
        t = np.arange(y.shape[1]) / SR
        return y + sum(0.002 / k * np.sin(2 * np.pi * k * (mains_hz + 0.02) * t + k) for k in range(1, 7))

    return added


def noisy(y: Sound) -> Sound:
    return y + _noise(y.shape[1], -50.0, np.random.default_rng(3))


def gated(y: Sound) -> Sound:
    """What lies under -50 dBFS for 20 ms is taken away, within 5 ms."""
    level = np.sqrt(scipy.ndimage.uniform_filter1d(y**2, int(0.02 * SR)))
    gain = scipy.ndimage.uniform_filter1d((level > 10 ** (-50 / 20)).astype(float), int(0.005 * SR))
    return np.asarray(y * np.where(gain < 0.01, 0.0, gain))


def suppressed(y: Sound) -> Sound:
    """Spectral subtraction: each bin goes down by up to 40 dB where it does not pass twice the room's own level."""
    _, _, z = scipy.signal.stft(y[0], SR, nperseg=1024)
    room = np.median(np.abs(z[:, 10:200]), axis=1)[:, None]
    gain = np.clip((np.abs(z) / (2.0 * room) - 1.0) / 2.0, 0.01, 1.0)
    _, x = scipy.signal.istft(z * gain, SR, nperseg=1024)
    return np.asarray(x[None, : y.shape[1]])


def band(top_hz: float) -> Callable[[Sound], Sound]:
    def cut(y: Sound) -> Sound:
        return np.asarray(scipy.signal.sosfilt(scipy.signal.butter(8, top_hz, fs=SR, output="sos"), y))

    return cut


def turned_over(y: Sound) -> Sound:
    """A second microphone 70 cm further away, a little duller, its polarity turned over."""
    second = np.roll(scipy.signal.sosfilt(scipy.signal.butter(1, 6000.0, fs=SR, output="sos"), y), 98)
    second = -0.6 * second + _noise(y.shape[1], NOISE_DBFS, np.random.default_rng(4))
    return np.concatenate([y, second])


def two_microphones(y: Sound) -> Sound:
    return turned_over(y) * np.array([[1.0], [-1.0]])


FAULTS: dict[str, tuple[str, Callable[[Sound], Sound]]] = {
    "nothing comes in": ("input", nothing),
    "only the room": ("input", only_the_room),
    "7 dB too loud": ("peaks", too_loud),
    "16 dB too soft": ("peaks", too_soft),
    "clipped at full scale": ("flat tops", clipped),
    "overdriven at -8 dBFS": ("flat tops", overdriven_before),
    "hum of 50 Hz": ("hum", hum(50.0)),
    "hum of 60 Hz": ("hum", hum(60.0)),
    "noise of -50 dBFS": ("floor", noisy),
    "gate": ("suppression", gated),
    "spectral suppression": ("suppression", suppressed),
    "telephone, 3.4 kHz": ("bandwidth", band(3400.0)),
    "headset, 7 kHz": ("bandwidth", band(7000.0)),
    "second turned over": ("polarity", turned_over),
}


def wrong(audio: Audio, *, wanted_sr: int = SR) -> list[str]:
    """Names of the checks that are wrong."""
    return [check.what for check in check_recording(audio, wanted_sr=wanted_sr).checks if check.state == "wrong"]


def with_fault(clean: Audio, put_in: Callable[[Sound], Sound]) -> Audio:
    return Audio(put_in(clean.y.astype(np.float64)).astype(np.float32), clean.sr)


def main() -> None:
    clean = recordings()
    print(f"{'fault':24} {'caught':>8}   missed in")
    for name, (check, put_in) in FAULTS.items():
        missed = [who for who, audio in clean.items() if check not in wrong(with_fault(audio, put_in))]
        print(f"{name:24} {len(clean) - len(missed):3} / {len(clean)}   {'; '.join(missed)}")
    second = {who: with_fault(audio, two_microphones) for who, audio in clean.items()}
    for name, sounds in (("clean, one microphone", clean), ("clean, two microphones", second)):
        alarms = {who: found for who, audio in sounds.items() if (found := wrong(audio))}
        print(f"{name:24} {len(alarms):3} / {len(sounds)} false alarms   {alarms or ''}")


if __name__ == "__main__":
    main()
