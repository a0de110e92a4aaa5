"""Rest between takes; the shares are common practice without a source, the reckoning is checked by hand."""

import pytest

from obbligato.music.instruments import find_instrument
from obbligato.play.lips import rest_wanted_s, usual_share


def test_rest_grows_while_notes_sound_and_falls_while_none_does():
    played = [(0.0, 60.0), (80.0, 90.0)]  # a minute, 20 s of rest, 10 s
    assert rest_wanted_s(played, 90.0, share=1.0) == pytest.approx(60.0 - 20.0 + 10.0)
    assert rest_wanted_s(played, 120.0, share=1.0) == pytest.approx(20.0)
    assert rest_wanted_s(played, 90.0, share=0.5) == pytest.approx(30.0 - 20.0 + 5.0)
    assert rest_wanted_s(played, 500.0, share=1.0) == 0.0


def test_rest_is_never_saved_up_and_overlaps_count_once():
    assert rest_wanted_s([(0.0, 1.0), (100.0, 110.0)], 110.0, share=1.0) == pytest.approx(10.0)
    assert rest_wanted_s([(5.0, 8.0), (0.0, 10.0), (6.0, 12.0)], 12.0, share=1.0) == pytest.approx(12.0)
    assert rest_wanted_s([], 10.0, share=1.0) == 0.0


def test_brass_rests_as_long_as_it_plays_and_strings_are_left_alone():
    assert [usual_share(find_instrument(name)) for name in ("trumpet", "alto sax", "cello")] == [1.0, 0.5, 0.0]
