"""Each warning with a file that has the fault and one that has not; faults are planted by construction."""

import numpy as np
import pytest
import soundfile
from scipy import signal

from obbligato.sound.audio import Audio
from obbligato.sound.files import mp3_bytes, read_audio, write_mp3, write_wav
from obbligato.sound.intake import source_facts
from obbligato.sound.rate import resample
from obbligato.sound.wav import wav_bytes

SR = 44100


def pink(rng, seconds=2, sr=SR, channels=2):
    """Wide noise falling by 3 dB an octave (P. Kellet's filter), faded at both ends, peak -6 dBFS."""
    b, a = [0.049922035, -0.095993537, 0.050612699, -0.004408786], [1, -2.494956002, 2.017265875, -0.522189400]
    y = signal.lfilter(b, a, rng.standard_normal((channels, seconds * sr)), axis=-1)
    ramp = np.clip(np.arange(seconds * sr) / (0.1 * sr), 0, 1)
    y *= ramp * ramp[::-1]
    return Audio((0.5 * y / np.abs(y).max()).astype(np.float32), sr)


@pytest.fixture
def facts_of(tmp_path):
    def facts(audio, **options):
        write_wav(tmp_path / "guide.wav", audio, overwrite=True, **options)
        return source_facts(tmp_path / "guide.wav", read_audio(tmp_path / "guide.wav"))

    return facts


def test_a_clean_file_has_no_warnings_and_true_facts(facts_of, rng):
    facts = facts_of(pink(rng))
    assert facts.warnings == ()
    assert (facts.container, facts.codec, facts.bit_depth, facts.encoder_delay_samples) == ("wav", "pcm", 24, None)
    assert (facts.sample_rate, facts.channels, facts.frames, facts.duration_s) == (SR, 2, 2 * SR, 2.0)
    assert facts.clipped_samples == 0


@pytest.mark.parametrize("bit_depth", [16, 24])
@pytest.mark.parametrize("turned_down_db", [0.0, 3.7])
def test_clipping_is_counted_also_when_turned_down(facts_of, rng, bit_depth, turned_down_db):
    driven = pink(rng).y * 6.0
    held = np.abs(driven) >= 1.0
    runs = sum(
        int(np.sum(length[length >= 3]))
        for channel, sign in ((c, s) for c in range(2) for s in (1, -1))
        for length in [run_lengths(held[channel] & (np.sign(driven[channel]) == sign))]
    )
    y = np.clip(driven, -1.0, 1.0) * 10 ** (-turned_down_db / 20)
    facts = facts_of(Audio(y.astype(np.float32), SR), bit_depth=bit_depth)
    # The tolerance for flatness (1.5 steps of 16 bits) can make a run longer by a sample here and there.
    assert facts.clipped_samples == pytest.approx(runs, rel=0.02)
    assert any("clipped" in warning for warning in facts.warnings)


def run_lengths(mask):
    changes = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(int), [0]))))
    return changes[1::2] - changes[::2]


@pytest.mark.parametrize("hz", [30, 100, 1000])
@pytest.mark.parametrize("bit_depth", [16, 24])
def test_the_crest_of_a_low_tone_is_not_clipping(facts_of, hz, bit_depth):
    y = 0.7 * np.sin(2 * np.pi * hz * np.arange(2 * SR) / SR)
    assert facts_of(Audio(y.astype(np.float32), SR), bit_depth=bit_depth).clipped_samples == 0


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda y: np.stack([y[0], y[0]]), "mono file"),
        (lambda y: np.stack([y[0], 0 * y[0]]), "Channel 2 of 2 is silent"),
        (lambda y: np.stack([y[0], 0.1 * y[1] - y[0]]), "opposite in polarity"),
        (lambda y: 0 * y, "The file is silent"),
    ],
)
def test_channel_faults(facts_of, rng, make, words):
    facts = facts_of(Audio(make(pink(rng).y), SR))
    assert [warning for warning in facts.warnings if words in warning]
    assert len(facts.warnings) == 1


def test_narrow_stereo_is_no_channel_fault(facts_of, rng):
    y = pink(rng).y
    facts = facts_of(Audio(np.stack([y[0], 0.9 * y[0] + 0.05 * y[1]]), SR))
    assert facts.warnings == ()


@pytest.mark.parametrize("kbps", [128, 160, 192])
@pytest.mark.parametrize("sr", [44100, 48000])
def test_a_wav_made_from_an_mp3_shows_its_edge(tmp_path, facts_of, rng, kbps, sr):
    (tmp_path / "a.mp3").write_bytes(mp3_bytes(pink(rng, sr=sr), kbps=kbps))
    facts = facts_of(read_audio(tmp_path / "a.mp3"))
    assert [warning for warning in facts.warnings if "ends sharply at" in warning]


def test_a_dull_sound_is_not_called_lossy(facts_of, rng):
    # 24 dB an octave above 2 kHz: much duller than any music, but no edge.
    sos = signal.butter(4, 2000, fs=SR, output="sos")
    y = signal.sosfilt(sos, pink(rng).y, axis=-1).astype(np.float32)
    assert not [warning for warning in facts_of(Audio(y, SR)).warnings if "sharply" in warning]
    # Resampling from 48 kHz ends at 22 kHz, as every such file does.
    assert facts_of(resample(pink(rng, sr=48000), 44100)).warnings == ()


def test_sixteen_bits_in_a_file_of_24(facts_of, rng):
    steps = np.rint(pink(rng).y * 32768) / 32768
    assert "only 16 are used" in facts_of(Audio(steps.astype(np.float32), SR)).warnings[0]
    assert facts_of(Audio(steps.astype(np.float32), SR), bit_depth=16).warnings == ()


def test_a_high_rate_made_from_a_low_one(facts_of, rng):
    assert facts_of(pink(rng, sr=96000)).warnings == ()
    assert "nothing above 2" in facts_of(resample(pink(rng, sr=48000), 96000)).warnings[0]
    assert "nothing above 2" in facts_of(resample(pink(rng, sr=44100), 88200)).warnings[0]


def test_a_very_loud_master(facts_of, rng):
    loud = np.tanh(12.0 * pink(rng).y) * 0.98
    facts = facts_of(Audio(loud.astype(np.float32), SR))
    assert facts.integrated_lufs > -9
    assert [warning for warning in facts.warnings if "very loud" in warning]


def test_chopped_start_and_end(facts_of, rng):
    y = pink(rng).y
    assert "very first sample" in facts_of(Audio(y[:, SR:], SR)).warnings[0]
    assert "in the middle of sound" in facts_of(Audio(y[:, :SR], SR)).warnings[0]


@pytest.mark.parametrize("bit_depth", [16, 24])
@pytest.mark.parametrize("hiss_dbfs", [None, -93.0, -65.0])
def test_lead_silence_through_dither_and_hiss(facts_of, rng, bit_depth, hiss_dbfs):
    y = np.zeros((2, 4 * SR))
    start = round(1.25 * SR)
    y[:, start:] = 0.5 * np.sin(2 * np.pi * 440 * np.arange(y.shape[1] - start) / SR)
    if hiss_dbfs is not None:
        y += 10 ** (hiss_dbfs / 20) * rng.standard_normal(y.shape)
    facts = facts_of(Audio(y.astype(np.float32), SR), bit_depth=bit_depth)
    # The tone passes the threshold within a few samples of its start.
    assert facts.lead_silence_s == pytest.approx(1.25, abs=0.0003)


def test_silence_at_the_head_is_told_to_the_sample(facts_of, rng):
    sound = pink(rng).y
    for lead, told in ((SR // 10, False), (round(2.5 * SR), True)):
        facts = facts_of(Audio(np.pad(sound, ((0, 0), (lead, 0))), SR))
        words = [warning for warning in facts.warnings if "of silence" in warning]
        assert bool(words) is told
    # The fade of 100 ms passes the threshold, 60 dB down, within a few milliseconds.
    assert "2.50 s of silence" in words[0]
    assert abs(int(words[0].split("(")[1].split(" ")[0]) - round(2.5 * SR)) < 0.005 * SR


def test_lead_silence_of_silence_and_of_sound_at_once(facts_of):
    assert facts_of(Audio(np.zeros((1, SR), np.float32), SR)).lead_silence_s == 1.0
    tone = np.cos(2 * np.pi * 440 * np.arange(SR) / SR).astype(np.float32) * 0.5
    assert facts_of(Audio(tone, SR)).lead_silence_s == 0.0


def test_mp3_delay_with_and_without_tag(tmp_path, rng):
    sound = pink(rng)
    write_mp3(tmp_path / "tagged.mp3", sound)
    write_mp3(tmp_path / "bare.mp3", sound, delay_tag=False)
    tagged = source_facts(tmp_path / "tagged.mp3", read_audio(tmp_path / "tagged.mp3"))
    bare = source_facts(tmp_path / "bare.mp3", read_audio(tmp_path / "bare.mp3"))
    assert (tagged.container, tagged.codec, tagged.bit_depth, tagged.encoder_delay_samples) == (
        "mp3",
        "mp3",
        None,
        576,
    )
    assert (tagged.warnings, tagged.frames) == ((), sound.n_samples)
    assert bare.encoder_delay_samples == 1105
    # 1105 / 44100 Hz = 25.06 ms
    assert "1105 samples (25.1 ms)" in bare.warnings[0]


def test_mp3_that_breaks_off_in_a_frame(tmp_path, rng):
    content = mp3_bytes(pink(rng), delay_tag=False)
    (tmp_path / "a.mp3").write_bytes(content[:-100])
    facts = source_facts(tmp_path / "a.mp3", read_audio(tmp_path / "a.mp3"))
    assert [warning for warning in facts.warnings if "middle of its last frame" in warning]


def test_aac_delay_with_and_without_edit_list(noise, encode_with_ffmpeg):
    declared = encode_with_ffmpeg(noise(60_000), "a.m4a", muxer="ipod", codec="aac")
    bare = encode_with_ffmpeg(noise(60_000), "a.aac", muxer="adts", codec="aac")
    facts = source_facts(declared, read_audio(declared))
    # FFmpeg's AAC encoder declares one frame, 1024 samples.
    assert (facts.container, facts.codec, facts.encoder_delay_samples) == ("mp4", "aac", 1024)
    assert not [warning for warning in facts.warnings if "delay" in warning]
    facts = source_facts(bare, read_audio(bare))
    assert facts.encoder_delay_samples is None
    assert "does not declare its encoder's delay" in facts.warnings[0]


@pytest.mark.parametrize(
    ("form", "subtype", "expected"),
    [
        ("AIFF", "PCM_16", ("aiff", "pcm", 16)),
        ("FLAC", "PCM_24", ("flac", "flac", 24)),
        ("OGG", "VORBIS", ("ogg", "vorbis", None)),
        ("RF64", "PCM_24", ("wav", "pcm", 24)),
        ("WAV", "FLOAT", ("wav", "pcm float", 32)),
        ("WAV", "ULAW", ("wav", "ulaw", None)),
    ],
)
def test_container_codec_and_depth(tmp_path, noise, form, subtype, expected):
    path = tmp_path / "guide.wav"
    soundfile.write(path, noise(20_000).y.T, SR, format=form, subtype=subtype)
    facts = source_facts(path, read_audio(path))
    assert (facts.container, facts.codec, facts.bit_depth) == expected


def test_opus_declares_its_pre_skip(tmp_path, noise):
    # RFC 7845, 5.1: libopus' usual pre-skip is 312 samples at 48 kHz (6.5 ms).
    path = tmp_path / "a.opus"
    soundfile.write(path, noise(48_000, sr=48000).y.T, 48000, format="OGG", subtype="OPUS")
    facts = source_facts(path, read_audio(path))
    assert (facts.codec, facts.encoder_delay_samples) == ("opus", 312)


def test_the_path_and_bytes_are_named(tmp_path, noise):
    (tmp_path / "a.wav").write_bytes(wav_bytes(noise(5000)))
    facts = source_facts(tmp_path / "a.wav", read_audio(tmp_path / "a.wav"))
    assert facts.path == str(tmp_path / "a.wav")
    assert len(facts.sha256) == 64
