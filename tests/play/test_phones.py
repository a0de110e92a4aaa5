import numpy as np
import pyloudnorm
import pytest
from tests.play.conftest import SR, tone

from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter
from obbligato.play.click import click_track
from obbligato.play.phones import CEILING_DBTP, HEARING_CAUTION, headphone_mix, safe_minutes
from obbligato.sound.audio import Audio
from obbligato.sound.peaks import true_peak_dbtp

CLICK = click_track(Grid.steady(120.0, 0.0, Meter()), n_samples=4 * SR, sr=SR)
SILENT = Audio(np.zeros(4 * SR), SR)


@pytest.mark.parametrize(
    ("level_dba", "minutes"),
    # NIOSH, Criteria for a Recommended Standard: Occupational Noise Exposure, publication 98-126 (1998), table 1-1.
    [(85, 480), (88, 240), (91, 120), (94, 60), (97, 30), (100, 15), (103, 7.5)],
)
def test_safe_minutes_are_those_of_niosh(level_dba: float, minutes: float) -> None:
    assert safe_minutes(level_dba) == pytest.approx(minutes)


@pytest.mark.parametrize(("level_dba", "hours"), [(88, "4 hours"), (94, "1 hour"), (100, "15 minutes")])
def test_the_caution_says_the_same_figures(level_dba: int, hours: str) -> None:
    assert f"{level_dba} dBA for {hours}" in HEARING_CAUTION
    assert "audiologist" in HEARING_CAUTION


@pytest.mark.parametrize(("master_lufs", "expected_db"), [(-8.0, -12.0), (-10.0, -10.0), (-14.0, -6.0), (-24.0, 0.0)])
def test_a_loud_master_is_turned_down_by_10_to_12_db(master_lufs: float, expected_db: float) -> None:
    # Figures: common practice, no source. A stereo sine of 997 Hz reads its level in dBFS (BS.1770-4, note 1).
    guide = tone(997.0, 4.0, master_lufs, channels=2)
    made = headphone_mix(guide, CLICK)
    assert made.guide_db == pytest.approx(expected_db, abs=0.1)


def test_the_guide_in_the_mix_is_as_loud_as_said() -> None:
    made = headphone_mix(tone(997.0, 4.0, -10.0, channels=2), SILENT)
    heard = pyloudnorm.Meter(SR).integrated_loudness(made.audio.y.T.astype(np.float64))
    assert heard + made.lowered_db == pytest.approx(-20.0, abs=0.1)


def test_the_click_is_just_above_the_guide() -> None:
    # Its loudest 100 ms, K-weighted by pyloudnorm in one block, lie 2 dB above the guide's loudness.
    guide = tone(997.0, 4.0, -10.0, channels=2)
    made = headphone_mix(guide, CLICK, guide_db=-10.0)
    alone = np.repeat(CLICK.y[:, : SR // 10] * 10 ** (made.click_db / 20), 2, axis=0)
    meter = pyloudnorm.Meter(SR, block_size=0.1)
    assert meter.integrated_loudness(alone.T.astype(np.float64)) == pytest.approx(-20.0 + 2.0, abs=0.3)


def test_nothing_passes_the_ceiling() -> None:
    loud = tone(400.0, 4.0, -0.1, channels=2)
    made = headphone_mix(loud, CLICK, tone(500.0, 4.0, -1.0), guide_db=0.0)
    assert true_peak_dbtp(made.audio) <= CEILING_DBTP + 0.01
    assert made.lowered_db > 6.0
    assert f"{made.lowered_db:.1f} dB more" in made.sentence


def test_the_line_goes_down_with_the_guide() -> None:
    guide, line = tone(997.0, 4.0, -10.0), tone(500.0, 4.0, -20.0)
    without, with_line = headphone_mix(guide, SILENT), headphone_mix(guide, SILENT, line)
    difference = with_line.audio.y - without.audio.y
    gain_db = 20 * np.log10(np.abs(difference).max() / np.abs(line.y).max())
    assert gain_db == pytest.approx(with_line.guide_db, abs=0.01)


def test_a_silent_guide_still_has_its_click() -> None:
    assert np.abs(headphone_mix(SILENT, CLICK).audio.y).max() > 0.01


def test_the_guide_is_never_made_louder() -> None:
    with pytest.raises(InputError, match="only turned down"):
        headphone_mix(SILENT, CLICK, guide_db=3.0)


def test_every_stem_is_as_loud_as_said() -> None:
    # Each stem alone, at its stated gain, measured by pyloudnorm; tones of 997 Hz in stereo read their level in dBFS.
    guide, line, mine = (tone(997.0, 4.0, db, channels=2) for db in (-10.0, -14.0, -30.0))
    made = headphone_mix(guide, SILENT, line, mine=mine)
    sounds = {"guide": guide, "mock-up": line, "self": mine}
    meter = pyloudnorm.Meter(SR)
    for stem in made.stems:
        if stem.name != "click":
            heard = meter.integrated_loudness(sounds[stem.name].y.T.astype(np.float64)) + stem.gain_db
            assert heard == pytest.approx(stem.lufs, abs=0.1)
    lufs = {stem.name: stem.lufs for stem in made.stems}
    # 3 LU above the guide: common practice, no source.
    assert lufs["self"] - lufs["guide"] == pytest.approx(3.0, abs=0.01)
    assert lufs["mock-up"] - lufs["guide"] == pytest.approx(-4.0, abs=0.1)
    total = sum(10 ** (stem.gain_db / 20) * sounds[stem.name].y for stem in made.stems if stem.name != "click")
    np.testing.assert_allclose(made.audio.y, total, atol=1e-5)
