"""Reading, against files made by other programs' encoders and muxers (libsndfile, FFmpeg) and cut or bent by hand."""

import hashlib
import struct

import numpy as np
import pytest
import soundfile

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio, sha256_of, write_mp3, write_wav


@pytest.mark.parametrize(
    ("form", "subtype", "bits"),
    [
        ("WAV", "PCM_16", 16),
        ("WAV", "PCM_24", 24),
        ("RF64", "PCM_24", 24),
        ("AIFF", "PCM_24", 24),
        ("FLAC", "PCM_16", 16),
        ("FLAC", "PCM_24", 24),
    ],
)
def test_lossless_files_of_libsndfile(tmp_path, rng, form, subtype, bits):
    steps = rng.integers(-(2 ** (bits - 1)), 2 ** (bits - 1), (5001, 2), dtype=np.int32)
    path = tmp_path / "a.sound"
    soundfile.write(path, steps << (32 - bits), 44100, format=form, subtype=subtype)
    read = read_audio(path)
    assert (read.sr, read.y.dtype) == (44100, np.float32)
    assert np.array_equal(read.y.T * 2 ** (bits - 1), steps)


@pytest.mark.parametrize(
    "case",
    [
        (("a.m4a", "ipod", "aac"), 0, 0),
        (("a.m4a", "ipod", "alac"), 0, 0),
        (("a.mov", "mov", "pcm_s16le"), 0, 0),
        (("a.mp3", "mp3", "libmp3lame"), 0, 0),
        # Matroska declares the delay but not the padding: up to one frame (1024) more at the end.
        (("a.mka", "matroska", "aac"), 0, 1024),
        # An ADTS stream declares nothing: FFmpeg's encoder puts one frame of 1024 samples before.
        (("a.aac", "adts", "aac"), 1024, 2048),
    ],
)
def test_sample_zero_and_length_of_ffmpegs_files(noise, encode_with_ffmpeg, offset_samples, case):
    (name, muxer, codec), delay, longer = case
    sound = noise(50_000)
    read = read_audio(encode_with_ffmpeg(sound, name, muxer=muxer, codec=codec))
    assert offset_samples(read.y[0], sound.y[0]) == delay
    assert 0 <= read.n_samples - sound.n_samples <= longer


def test_ogg_vorbis_keeps_start_and_length(tmp_path, noise, offset_samples):
    sound = noise(50_000)
    soundfile.write(tmp_path / "a.ogg", sound.y.T, sound.sr, format="OGG", subtype="VORBIS")
    read = read_audio(tmp_path / "a.ogg")
    assert read.n_samples == 50_000
    assert offset_samples(read.y[0], sound.y[0]) == 0


@pytest.mark.parametrize("left_open", [0, 0xFFFFFFFF])
def test_sizes_left_open_by_a_streaming_program_are_accepted(tmp_path, noise, left_open):
    sound = noise(3000)
    soundfile.write(tmp_path / "a.wav", sound.y.T, sound.sr, subtype="PCM_16")
    content = bytearray((tmp_path / "a.wav").read_bytes())
    at = content.index(b"data")
    content[4:8] = content[at + 4 : at + 8] = struct.pack("<I", left_open)
    (tmp_path / "a.wav").write_bytes(content)
    assert read_audio(tmp_path / "a.wav").n_samples == 3000


def text(path, noise, encode):
    path.write_text("this is a text about a song\n" * 40)


def play_list(path, noise, encode):
    path.write_text("#EXTM3U\n#EXTINF:10,\nother.mp3\n")


def empty(path, noise, encode):
    path.write_bytes(b"")


def no_frames(path, noise, encode):
    soundfile.write(path, np.zeros((0, 1)), 44100, format="WAV")


def with_nan(path, noise, encode):
    soundfile.write(path, np.array([0.1, np.nan, 0.1]), 44100, format="WAV", subtype="FLOAT")


def cut_wav(path, noise, encode):
    soundfile.write(path, noise(3000).y.T, 44100, format="WAV")
    path.write_bytes(path.read_bytes()[:-1])


def cut_aiff(path, noise, encode):
    soundfile.write(path, noise(3000).y.T, 44100, format="AIFF")
    path.write_bytes(path.read_bytes()[:-2])


def cut_flac(path, noise, encode):
    soundfile.write(path, noise(30000).y.T, 44100, format="FLAC")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def cut_ogg(path, noise, encode):
    soundfile.write(path, noise(30000).y.T, 44100, format="OGG", subtype="VORBIS")
    path.write_bytes(path.read_bytes()[:-100])


def cut_mp3(path, noise, encode):
    write_mp3(path, noise(30000))
    path.write_bytes(path.read_bytes()[:-200])


def cut_m4a(path, noise, encode):
    content = encode(noise(30000), "whole.m4a", muxer="ipod", codec="aac").read_bytes()
    path.write_bytes(content[: len(content) // 2])


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (text, "not a sound file"),
        (play_list, "not a sound file"),
        (empty, "is empty"),
        (no_frames, "0 frames"),
        (with_nan, "no numbers"),
        (cut_wav, "cut short: 1 byte"),
        (cut_aiff, "cut short"),
        (cut_flac, "breaks off|damaged"),
        (cut_ogg, "cut short"),
        (cut_mp3, "cut short: 200 bytes"),
        (cut_m4a, "damaged"),
    ],
)
def test_what_cannot_be_trusted_is_refused_in_a_sentence(tmp_path, noise, encode_with_ffmpeg, make, message):
    path = tmp_path / "guide.wav"
    make(path, noise, encode_with_ffmpeg)
    with pytest.raises(InputError, match=message) as refusal:
        read_audio(path)
    assert "guide.wav" in str(refusal.value)
    assert str(refusal.value).endswith(".")


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(InputError, match="no file"):
        read_audio(tmp_path / "none.wav")
    with pytest.raises(InputError, match="is a folder"):
        read_audio(tmp_path)


def test_fingerprint_is_sha256(tmp_path):
    # FIPS 180-2, appendix B.1: the digest of "abc".
    (tmp_path / "a").write_bytes(b"abc")
    assert sha256_of(tmp_path / "a") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    write_wav(tmp_path / "b.wav", Audio(np.zeros(9, np.float32), 8000))
    assert sha256_of(tmp_path / "b.wav") == hashlib.sha256((tmp_path / "b.wav").read_bytes()).hexdigest()
