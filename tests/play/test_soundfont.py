from pathlib import Path

import numpy as np
import pytest
from tests.play.conftest import strongest_hz

from obbligato.errors import InputError
from obbligato.play.soundfont import TimedNote, default_soundfont, render_notes

SR = 48000
TRUMPET, VIBRAPHONE, ALTO_SAX = 57, 12, 66


def held(program: int, *, a4_hz: float, sr: int = SR) -> np.ndarray:
    audio = render_notes([TimedNote(0.0, 2.5, 69, 90)], program=program, n_samples=3 * sr, sr=sr, a4_hz=a4_hz)
    return audio.y[0, sr // 2 : 2 * sr]


@pytest.mark.parametrize("program", [TRUMPET, ALTO_SAX])
@pytest.mark.parametrize("a4_hz", [432.0, 437.5, 442.0, 466.16, 415.3])
def test_the_bank_moves_to_the_songs_own_tuning(program: int, a4_hz: float) -> None:
    # The bank at 440 Hz is the measure: what is checked is the interval, which is defined by a4_hz / 440. The finest
    # step of MIDI's fine tuning is 100 / 8192 = 0.012 cents; the bound is 1 cent, far below what is heard.
    at_440 = strongest_hz(held(program, a4_hz=440.0), SR, 440.0)
    moved = strongest_hz(held(program, a4_hz=a4_hz), SR, at_440 * a4_hz / 440.0)
    assert 1200 * np.log2(moved / at_440) == pytest.approx(1200 * np.log2(a4_hz / 440.0), abs=1.0)


def test_notes_begin_when_asked(rng: np.random.Generator) -> None:
    # The renderer starts notes at blocks of 64 samples (1.33 ms), so half a block, 0.67 ms, is the best there is; the
    # sample itself takes up to half a millisecond to leave silence.
    asked_s = np.arange(24) * 0.7 + rng.uniform(0.0, 0.3, 24)
    notes = [TimedNote(s, s + 0.1, 72, 127) for s in asked_s]
    audio = render_notes(notes, program=13, n_samples=18 * SR, sr=SR)
    for s in asked_s:
        before, at = round((s - 0.05) * SR), round((s - 0.002) * SR)
        reference = np.abs(audio.y[0, max(before, 0) : max(at, 0)]).max(initial=0.0)
        onset = at + np.flatnonzero(np.abs(audio.y[0, max(at, 0) :]) > reference + 3e-3)[0]
        assert abs(onset / SR - s) < 0.002


@pytest.mark.parametrize(("sr", "n_samples"), [(44100, 100_001), (48000, 7), (96000, 123_457), (22050, 22050)])
def test_length_is_exact_at_any_rate(sr: int, n_samples: int) -> None:
    audio = render_notes([TimedNote(0.0, 0.5, 60)], program=TRUMPET, n_samples=n_samples, sr=sr)
    assert audio.y.shape == (1, n_samples)
    assert audio.sr == sr


def test_a_rate_other_than_the_renderers_keeps_pitch() -> None:
    low = strongest_hz(held(TRUMPET, a4_hz=440.0, sr=32000), 32000, 440.0)
    assert 1200 * np.log2(low / strongest_hz(held(TRUMPET, a4_hz=440.0), SR, 440.0)) == pytest.approx(0.0, abs=0.5)


def test_a_repeated_note_sounds_again() -> None:
    # The first note is asked to last beyond the start of the second: its end must not silence the second.
    notes = [TimedNote(0.1, 1.2, 69, 100), TimedNote(1.0, 2.0, 69, 100)]
    y = render_notes(notes, program=TRUMPET, n_samples=2 * SR, sr=SR).y[0]
    assert np.sqrt(np.mean(y[int(1.5 * SR) : int(1.9 * SR)] ** 2)) > 0.01


def test_no_notes_are_silence() -> None:
    assert not render_notes([], program=TRUMPET, n_samples=100, sr=SR).y.any()


def test_the_same_notes_give_the_same_sound() -> None:
    once, again = (render_notes([TimedNote(0, 1, 64)], program=TRUMPET, n_samples=SR, sr=SR).y for _ in range(2))
    np.testing.assert_array_equal(once, again)


@pytest.mark.parametrize("content", [b"", b"not a sound font", b"RIFF\x00\x00\x00\x00sfbk", None])
def test_a_file_that_is_no_soundfont_is_refused(tmp_path: Path, content: bytes | None) -> None:
    bank = tmp_path / "bank.sf2"
    bank.write_bytes(default_soundfont().read_bytes()[:200_000] if content is None else content)
    with pytest.raises(InputError, match=r"cannot be read as a SoundFont"):
        render_notes([TimedNote(0, 1, 60)], program=1, n_samples=SR, sr=SR, soundfont=bank)


def test_a_missing_soundfont_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no SoundFont .*lost\.sf2"):
        render_notes([TimedNote(0, 1, 60)], program=1, n_samples=SR, sr=SR, soundfont=tmp_path / "lost.sf2")


@pytest.mark.parametrize(
    ("note", "a4_hz", "words"),
    [
        (TimedNote(-0.1, 1.0, 60), 440.0, "outside the sound"),
        (TimedNote(1.0, 1.5, 60), 440.0, "outside the sound"),
        (TimedNote(0.5, 0.5, 60), 440.0, "no length"),
        (TimedNote(0.0, 0.5, 128), 440.0, "MIDI pitch 128"),
        (TimedNote(0.0, 0.5, 60, 0), 440.0, "velocity 0"),
        (TimedNote(0.0, 0.5, 60), 4400.0, "a4_hz"),
    ],
)
def test_notes_that_cannot_be_played_are_refused(note: TimedNote, a4_hz: float, words: str) -> None:
    with pytest.raises(InputError, match=words):
        render_notes([note], program=1, n_samples=SR, sr=SR, a4_hz=a4_hz)
