"""Wave files, held against libsndfile (soundfile), wavinfo and Python's wave module."""

import struct
import wave

import numpy as np
import pytest
import soundfile
import wavinfo

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.sound.wav import BEXT_FIXED, BextInfo, read_bext, wav_bit_depth, wav_bytes, wav_chunks, write_wav

BEXT = BextInfo(
    description="Test song, flugelhorn, dry",
    originator="A player",
    originator_reference="REF0001",
    origination_date="2026-01-31",
    origination_time="23:59:58",
    time_reference=2**32 + 5,
    loudness_lufs=-23.04,
    true_peak_dbtp=-1.5,
    coding_history="A=PCM,F=48000,W=24,M=mono\r\n",
)


@pytest.mark.parametrize("channels", [1, 2, 3])
@pytest.mark.parametrize(("bit_depth", "subtype"), [(16, "PCM_16"), (24, "PCM_24"), (32, "FLOAT")])
def test_libsndfile_reads_what_was_written(tmp_path, rng, bit_depth, subtype, channels):
    # Odd length times one or three bytes: the pad byte of the data chunk is needed.
    y = rng.uniform(-1, 1, (channels, 1001)).astype(np.float32)
    path = tmp_path / "a.wav"
    write_wav(path, Audio(y, 48000), bit_depth=bit_depth, bext=BEXT)
    read, sr = soundfile.read(path, dtype="float64", always_2d=True)
    assert sr == 48000
    assert soundfile.info(path).subtype == subtype
    assert path.stat().st_size % 2 == 0
    # Rounding to the nearest step errs by half a step; values within half a step of 1.0 take the highest step.
    step = 0.0 if bit_depth == 32 else 2.0 ** -(bit_depth - 1)
    assert np.max(np.abs(read.T - y)) <= 1.0 * step


@pytest.mark.parametrize("bit_depth", [16, 24])
def test_integer_steps_as_libsndfile_decodes_them(tmp_path, bit_depth):
    steps = np.array([-(2 ** (bit_depth - 1)), -1, 0, 1, 2 ** (bit_depth - 1) - 1])
    path = tmp_path / "a.wav"
    write_wav(path, Audio((steps / 2.0 ** (bit_depth - 1)).astype(np.float32), 44100), bit_depth=bit_depth)
    read, _ = soundfile.read(path, dtype="int32")
    assert (read >> (32 - bit_depth)).tolist() == steps.tolist()
    if bit_depth == 16:
        with wave.open(str(path)) as file:
            assert np.frombuffer(file.readframes(5), "<i2").tolist() == steps.tolist()


def test_same_input_same_bytes_and_written_again_unchanged(tmp_path, rng):
    y = (rng.integers(-(2**23), 2**23, 5000) / 2**23).astype(np.float32)
    first = wav_bytes(Audio(y, 44100), bit_depth=24)
    assert first == wav_bytes(Audio(y, 44100), bit_depth=24)
    path = tmp_path / "a.wav"
    path.write_bytes(first)
    again = soundfile.read(path, dtype="float32")[0]
    assert wav_bytes(Audio(again, 44100), bit_depth=24) == first


def test_bext_layout_is_that_of_ebu_tech_3285():
    # EBU Tech 3285 v2: 602 bytes before the coding history; offsets by adding up its field lengths.
    assert BEXT_FIXED.size == 602
    content = wav_bytes(Audio(np.zeros(10, np.float32), 48000), bext=BEXT)
    at = content.index(b"bext") + 8
    assert content[at : at + 26] == b"Test song, flugelhorn, dry"
    assert content[at + 256 : at + 264] == b"A player"
    assert content[at + 320 : at + 338] == b"2026-01-3123:59:58"
    assert struct.unpack_from("<IIH", content, at + 338) == (5, 1, 2)
    assert struct.unpack_from("<5h", content, at + 412) == (-2304, 0x7FFF, -150, 0x7FFF, 0x7FFF)
    assert content[at + 422 : at + 602] == bytes(180)
    assert content[at + 602 :].startswith(b"A=PCM,F=48000,W=24,M=mono\r\n")


def test_wavinfo_reads_the_broadcast_extension(tmp_path):
    path = tmp_path / "a.wav"
    write_wav(path, Audio(np.zeros(10, np.float32), 48000), bext=BEXT)
    bext = wavinfo.WavInfoReader(str(path)).bext
    assert bext.description.rstrip("\0") == BEXT.description
    assert bext.originator.rstrip("\0") == BEXT.originator
    assert bext.originator_ref.rstrip("\0") == BEXT.originator_reference
    assert bext.originator_date.rstrip("\0") == BEXT.origination_date
    assert bext.originator_time.rstrip("\0") == BEXT.origination_time
    assert bext.time_reference == BEXT.time_reference
    assert bext.version == 2
    assert bext.loudness_value == pytest.approx(-23.04)
    assert bext.max_true_peak == pytest.approx(-1.5)
    assert bext.coding_history.rstrip("\0") == BEXT.coding_history


def test_bext_comes_back(tmp_path):
    path = tmp_path / "a.wav"
    write_wav(path, Audio(np.zeros(10, np.float32), 48000), bext=BEXT)
    assert read_bext(path) == BEXT
    assert [chunk.name for chunk in wav_chunks(path)] == ["bext", "fmt ", "data"]
    assert wav_bit_depth(path) == 24
    write_wav(tmp_path / "b.wav", Audio(np.zeros(10, np.float32), 48000))
    assert read_bext(tmp_path / "b.wav") is None


def test_bext_texts_become_ascii_and_are_cut_to_their_field(tmp_path):
    path = tmp_path / "a.wav"
    write_wav(path, Audio(np.zeros(10, np.float32), 48000), bext=BextInfo(description="Élan", originator="x" * 40))
    bext = read_bext(path)
    assert bext.description == "Elan"
    assert bext.originator == "x" * 32


def test_nothing_is_overwritten_or_left_half_written(tmp_path):
    path = tmp_path / "a.wav"
    path.write_bytes(b"precious")
    sound = Audio(np.zeros(10, np.float32), 48000)
    with pytest.raises(InputError, match="exists already"):
        write_wav(path, sound)
    assert path.read_bytes() == b"precious"
    write_wav(path, sound, overwrite=True)
    assert path.read_bytes() == wav_bytes(sound)
    with pytest.raises(InputError, match="no folder"):
        write_wav(tmp_path / "missing" / "a.wav", sound)
    assert [p.name for p in tmp_path.iterdir()] == ["a.wav"]


@pytest.mark.parametrize(
    ("y", "message"),
    [
        ([0.0, 1.26, 0.0], r"2\.0[0-9] dB"),  # 20 log10 1.26 = 2.007
        ([0.0, np.nan], "no numbers"),
        ([], "zero samples"),
    ],
)
def test_what_cannot_be_written_is_refused(tmp_path, y, message):
    with pytest.raises(InputError, match=message):
        write_wav(tmp_path / "a.wav", Audio(np.array(y, np.float32), 48000))
    assert not list(tmp_path.iterdir())


def test_floating_point_goes_beyond_full_scale(tmp_path):
    write_wav(tmp_path / "a.wav", Audio(np.array([1.5, -2.0], np.float32), 48000), bit_depth=32)
    assert soundfile.read(tmp_path / "a.wav")[0].tolist() == [1.5, -2.0]
