"""Where somebody sings: stems with known gaps, bands without a singer, an invented singer over a rendered band."""

import numpy as np
import pytest

from obbligato.demo.score import SONG
from obbligato.demo.voice import sing
from obbligato.listen import voice as listening
from obbligato.listen.opinion import Opinions
from obbligato.listen.voice import BRIDGED_S, find_voice
from obbligato.music.grid import Grid
from obbligato.music.spans import Span
from obbligato.sound.audio import Audio

SR = 16000


def stem(spans, *, seconds=12.0, level=0.2, floor=0.0, seed=2):
    t = np.arange(int(seconds * SR)) / SR
    y = floor * np.random.default_rng(seed).standard_normal(t.size)
    for start, end in spans:
        here = (t >= start) & (t < end)
        y[here] += level * np.sin(2 * np.pi * 220.0 * t[here])
    return Audio(y.astype(np.float32), SR)


@pytest.mark.parametrize("level", [0.5, 0.01])
@pytest.mark.parametrize("floor_db", [None, -45.0])
def test_a_stem_is_gated_at_its_own_level(level, floor_db):
    spans = [(1.0, 3.5), (4.2, 6.0), (8.0, 11.0)]
    floor = 0.0 if floor_db is None else level * 0.7 * 10 ** (floor_db / 20)
    found = find_voice(stem([]), vocal=stem(spans, level=level, floor=floor))
    # The gate smooths over three frames of 10 ms: at most two frames too long at either end.
    np.testing.assert_allclose([(s.start_s, s.end_s) for s in found], spans, atol=0.021)


def test_short_gaps_are_closed_and_others_kept():
    found = find_voice(stem([]), vocal=stem([(1.0, 2.0), (2.0 + 0.8 * BRIDGED_S, 4.0), (4.0 + 1.6 * BRIDGED_S, 6.0)]))
    assert len(found) == 2


@pytest.mark.parametrize(
    "vocal", [Audio(np.zeros(SR * 5, dtype=np.float32), SR), Audio(np.zeros(0, dtype=np.float32), SR)]
)
def test_a_silent_stem_has_no_singer(vocal):
    assert find_voice(stem([]), vocal=vocal) == ()


def test_a_stem_longer_than_the_song_and_of_an_odd_rate_keeps_time():
    sr = 11025
    t = np.arange(200 * sr) / sr
    long = Audio((0.2 * np.sin(2 * np.pi * 220.0 * t) * ((t % 40.0 < 2.0) & (t > 1.0))).astype(np.float32), sr)
    found = find_voice(stem([], seconds=130.0), vocal=long)
    assert [span.start_s for span in found] == pytest.approx([1.0, 40.0, 80.0, 120.0], abs=0.021)


@pytest.mark.parametrize("seconds", [0.0, 0.5, 4.0])
def test_silence_has_no_singer(seconds):
    assert find_voice(Audio(np.zeros((2, int(SR * seconds)), dtype=np.float32), SR)) == ()


def test_opinions_turn_into_spans_with_hysteresis():
    # A steady opinion of 0.97 is singing, of 0.003 is not; a dip to 0.2 for 0.3 s inside a line is no rest.
    odds = np.full(1000, np.log(0.003 / 0.997))
    odds[200:500] = np.log(0.97 / 0.03)
    odds[320:350] = np.log(0.2 / 0.8)
    odds[700:705] = np.log(0.9 / 0.1)
    assert listening._sung_in_mix(Opinions(odds, odds, np.zeros(1000), np.zeros(1000))) == [(200, 500)]


def line_at(start, end, *, n=1000, odds=4.0):
    """Opinions that are sure of one line, level and tonal throughout it, quiet and noisy outside."""
    frames = np.arange(n)
    inside = (frames >= start) & (frames < end)
    together = np.where(inside, odds, -4.0)
    return Opinions(together, together, np.where(inside, -20.0, -50.0), np.where(inside, -14.0, -9.0))


def test_a_breath_before_a_line_is_not_sung():
    # 0.35 s of noise (flatness -3 dB) is taken for singing by all opinions; the vowels of the line lie at -14.
    opinions = line_at(300, 600)
    opinions.noise_db[300:335] = -3.0
    ((start, end),) = listening._sung_in_mix(opinions)
    assert (start, end) == (335, 600)


def test_a_consonant_inside_a_line_is_no_breath():
    opinions = line_at(300, 600)
    opinions.noise_db[340:352] = -3.0
    assert listening._sung_in_mix(opinions) == [(300, 600)]


def test_the_ring_after_a_line_is_not_sung():
    # A room in which sound dies away by 60 dB in 0.9 s: 10 dB down after 0.15 s.
    opinions = line_at(300, 600)
    opinions.level_db[540:600] = -20.0 - 60.0 / 0.9 * 0.01 * np.arange(60)
    ((start, end),) = listening._sung_in_mix(opinions)
    assert start == 300
    assert end == pytest.approx(555, abs=2)


def test_what_the_network_denies_is_not_sung():
    opinions = line_at(300, 600)
    clicks = slice(50, 90)
    opinions.together[clicks] = 2.0
    network = opinions.together.copy()
    network[clicks] = -7.0
    heard = Opinions(opinions.together, network, opinions.level_db, opinions.noise_db)
    assert listening._sung_in_mix(heard) == [(300, 600)]


def test_where_the_network_is_never_sure_nobody_sings():
    opinions = line_at(300, 600)
    doubtful = Opinions(opinions.together, opinions.together - 3.0, opinions.level_db, opinions.noise_db)
    assert listening._sung_in_mix(doubtful) == []


def backing(render):
    notes = []
    for i, root in enumerate((53, 58, 60, 53) * 2):
        notes += [(48, 4 * i, 3.9, root + step, 70) for step in (0, 4, 7)] + [(33, 4 * i, 3.9, root - 24, 80)]
        notes += [(None, 4 * i + b, 0.2, 38 if b % 2 else 36, 90) for b in range(4)]
    return render(notes, bpm=100)


def test_a_band_without_a_singer(render):
    assert find_voice(backing(render)) == ()


@pytest.fixture(scope="module")
def sung_song(render):
    """An invented singer over a rendered band, and where the singer sings."""
    band = backing(render)
    grid = Grid.steady(SONG.bpm, 0.0, SONG.meter)
    first_beat = SONG.lines[0][0].onset_beat
    grid = grid.moved(float(grid.sec_to_beat(3.0)) - first_beat)
    dry, sung = sing(
        SONG.lines[:2], grid, n_samples=band.n_samples, sr=band.sr, a4_hz=440.0, rng=np.random.default_rng(1)
    )
    inside = np.concatenate([dry[round(s.start_s * band.sr) : round(s.end_s * band.sr)] for s in sung])
    gain = 1.4 * np.sqrt(np.mean(band.y**2) / np.mean(inside**2))
    return Audio(band.y + (gain * dry).astype(np.float32), band.sr), sung


def test_an_invented_singer_over_a_rendered_band(sung_song):
    # The singer is a synthesiser, so this is a plain alarm; real singing is measured by bench/listen_ear.py.
    song, sung = sung_song
    times = np.arange(0.0, song.duration_s, 0.01)
    agreed = _inside(times, find_voice(song)) == _inside(times, sung)
    assert agreed.mean() > 0.85


@pytest.mark.parametrize("right", [0.0, -1.0])
def test_a_dead_or_turned_channel_hides_no_singer(sung_song, right):
    song, _ = sung_song
    left = song.mono()
    assert find_voice(Audio(np.stack([left, right * left]), song.sr)) == find_voice(Audio(left[None], song.sr))


def _inside(times, spans: tuple[Span, ...]):
    return np.any([(times >= s.start_s) & (times < s.end_s) for s in spans] or [times < 0.0], axis=0)
