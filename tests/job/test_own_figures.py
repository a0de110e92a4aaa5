"""Where a player's own figures are read from."""

import pytest

from obbligato.errors import InputError
from obbligato.job.own_figures import own_figures
from obbligato.music.instruments import find_instrument


@pytest.fixture
def settings(tmp_path, monkeypatch):
    monkeypatch.setattr("obbligato.job.own_figures.config_folder", lambda: tmp_path / "settings")
    (tmp_path / "settings").mkdir()
    (tmp_path / "job").mkdir()
    return tmp_path


def test_the_job_s_file_counts_before_the_player_s(settings):
    flute = find_instrument("flute")
    assert own_figures(settings / "job").applied_to(flute) == flute
    (settings / "settings" / "instruments.toml").write_text('["Flute"]\nbreath_s = 5\n')
    assert own_figures(settings / "job").applied_to(flute).breath_s == 5.0
    (settings / "job" / "instruments.toml").write_text('["Flute"]\nbreath_s = 9\n')
    assert own_figures(settings / "job").applied_to(flute).breath_s == 9.0
    assert own_figures().applied_to(flute).breath_s == 5.0


def test_a_file_that_is_no_text_is_refused_by_name(settings):
    (settings / "settings" / "instruments.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match=r"instruments\.toml' cannot be read as text"):
        own_figures()
