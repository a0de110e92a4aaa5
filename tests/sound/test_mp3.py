"""MP3 tags and delays, against libsndfile (mpg123) and FFmpeg as decoders and FFmpeg as the other encoder."""

import itertools

import lameenc
import numpy as np
import pytest
import soundfile

from obbligato.errors import InputError
from obbligato.sound import mp3_encoding
from obbligato.sound.audio import Audio
from obbligato.sound.files import mp3_bytes, read_audio, write_mp3
from obbligato.sound.mp3 import missing_bytes, mp3_tag, parse_header, read_tag

# LAME technical FAQ: encoder delay 576, decoder delay 528 + 1.
UNTAGGED_DELAY = 576 + 529


@pytest.mark.parametrize("form", [*itertools.product([22050, 44100, 48000], [1, 2], [1500, 30_001])])
def test_two_decoders_give_the_exact_length_back(tmp_path, noise, offset_samples, form):
    sr, channels, n_samples = form
    sound = noise(n_samples, sr=sr, channels=channels)
    write_mp3(tmp_path / "a.mp3", sound)
    ours = read_audio(tmp_path / "a.mp3")
    mpg123 = soundfile.read(tmp_path / "a.mp3", always_2d=True)[0].T
    for y in (ours.y, mpg123):
        assert y.shape == sound.y.shape
        assert offset_samples(y[0], sound.y[0]) == 0
    # The format leaves decoders no freedom but rounding: half a 16-bit step is generous for two that use floats.
    assert np.max(np.abs(ours.y - mpg123)) < 2.0**-16


@pytest.mark.parametrize("sr", [22050, 44100])
def test_without_tag_the_sound_is_late_by_both_delays(tmp_path, noise, offset_samples, sr):
    sound = noise(30_001, sr=sr)
    write_mp3(tmp_path / "a.mp3", sound, delay_tag=False)
    read = read_audio(tmp_path / "a.mp3")
    assert offset_samples(read.y[0], sound.y[0]) == UNTAGGED_DELAY
    assert read.n_samples % 576 == 0
    assert read_tag(tmp_path / "a.mp3") is None


def test_a_variable_rate_file_without_tag_is_read_to_its_end(tmp_path, noise, offset_samples):
    sound = noise(200_000)
    encoder = lameenc.Encoder()
    encoder.silence()
    encoder.set_in_sample_rate(44100)
    encoder.set_channels(1)
    encoder.set_vbr(4)
    encoder.set_vbr_quality(2)
    steps = np.rint(sound.y[0] * 32767).astype("<i2")
    (tmp_path / "a.mp3").write_bytes(bytes(encoder.encode(steps.tobytes())) + bytes(encoder.flush()))
    read = read_audio(tmp_path / "a.mp3")
    assert read.n_samples >= 200_000 + UNTAGGED_DELAY
    assert offset_samples(read.y[0], sound.y[0]) == UNTAGGED_DELAY


def test_ffmpegs_tag_is_read(noise, encode_with_ffmpeg):
    path = encode_with_ffmpeg(noise(30_001), "a.mp3", muxer="mp3", codec="libmp3lame")
    tag = read_tag(path)
    assert tag.delay_samples == 576
    # The frames hold delay, music and padding, nothing else.
    assert tag.frames * 1152 == 576 + 30_001 + tag.padding_samples
    assert missing_bytes(path.read_bytes()) == 0


def test_a_tag_without_lames_extension_declares_no_delay(noise):
    content = bytearray(mp3_bytes(noise(5000)))
    at = content.index(b"LAME")
    content[at : at + 36] = bytes(36)
    tag = mp3_tag(bytes(content))
    assert tag.frames is not None
    assert tag.delay_samples is None


def test_crc_of_the_tag_is_crc_16_arc(noise):
    # The check value of CRC-16/ARC (polynomial 0x8005 reflected, initial 0) for "123456789" is 0xBB3D, as in the
    # catalogue of parametrised CRC algorithms; from memory.
    assert mp3_encoding._crc16(b"123456789") == 0xBB3D


def test_same_input_same_bytes(noise):
    sound = noise(20_000, channels=2)
    assert mp3_bytes(sound) == mp3_bytes(sound)
    assert mp3_bytes(sound).endswith(mp3_bytes(sound, delay_tag=False))


def test_frame_header_by_hand():
    # ISO 11172-3, 2.4.2.3: FF FB 92 64 is MPEG-1 layer III, no CRC, 128 kbit/s, 44100 Hz, padded, joint stereo;
    # 144 * 128000 / 44100 = 417.96, and one byte of padding.
    header = parse_header(b"\xff\xfb\x92\x64")
    assert (header.mpeg1, header.sample_rate, header.channels, header.n_bytes, header.samples) == (
        True,
        44100,
        2,
        418,
        1152,
    )
    assert parse_header(b"RIFF") is None


def test_an_id3_tag_before_the_frames_is_skipped(tmp_path, noise, offset_samples):
    sound = noise(20_000)
    body = bytes(300)
    id3 = b"ID3\x04\x00\x00" + bytes([0, 0, 300 >> 7, 300 & 127]) + body
    (tmp_path / "a.mp3").write_bytes(id3 + mp3_bytes(sound))
    assert read_tag(tmp_path / "a.mp3").delay_samples == 576
    read = read_audio(tmp_path / "a.mp3")
    assert read.n_samples == 20_000
    assert offset_samples(read.y[0], sound.y[0]) == 0


def test_high_rates_are_brought_to_one_that_mp3_knows(tmp_path, noise):
    write_mp3(tmp_path / "a.mp3", noise(88_200, sr=88200))
    assert (read_audio(tmp_path / "a.mp3").sr, read_audio(tmp_path / "a.mp3").n_samples) == (44100, 44_100)


@pytest.mark.parametrize(
    ("y", "options", "message"),
    [
        (np.zeros((3, 100)), {}, "one or two channels"),
        (np.full((1, 100), 1.5), {}, "full scale"),
        (np.zeros((1, 0)), {}, "zero samples"),
        (np.zeros((1, 100)), {"kbps": 150}, "kbps=150"),
    ],
)
def test_what_cannot_be_encoded_is_refused(y, options, message):
    with pytest.raises(InputError, match=message):
        mp3_bytes(Audio(y.astype(np.float32), 44100), **options)
