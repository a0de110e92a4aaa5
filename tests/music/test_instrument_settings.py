"""A player's own figures for an instrument."""

import pytest

from obbligato.errors import InputError
from obbligato.music.instrument_settings import OwnFigures, parse_settings
from obbligato.music.instruments import find_instrument, parse_pitch

TRUMPET = find_instrument("trumpet")


def test_what_is_set_takes_the_place_of_the_table_and_nothing_else_does():
    figures = parse_settings('["b-flat trumpet"]\nsafe = ["B3", "F#5"]\nbreath_s = 6', "mine.toml")
    mine = figures.applied_to(TRUMPET)
    assert (mine.comfortable_low, mine.comfortable_high, mine.breath_s) == (
        parse_pitch("B3"),
        parse_pitch("F#5"),
        6.0,
    )
    assert (mine.low, mine.high, mine.strong_high, mine.transposition) == (
        TRUMPET.low,
        TRUMPET.high,
        TRUMPET.strong_high,
        TRUMPET.transposition,
    )
    assert figures.applied_to(find_instrument("flute")) == find_instrument("flute")
    assert figures.words(TRUMPET) == (
        "safe B3-Gb5 in place of A3-A5 (mine.toml)",
        "breath_s 6 in place of 8 (mine.toml)",
    )


def test_zones_not_set_give_way_so_that_each_lies_within_the_next():
    wide = parse_settings('["Trumpet in Bb"]\nsafe = ["F3", "E6"]', "f").applied_to(TRUMPET)
    assert (wide.low, wide.strong_low, wide.strong_high, wide.high) == tuple(
        map(parse_pitch, ("F3", "F3", "E6", "E6"))
    )
    narrow = parse_settings('["Trumpet in Bb"]\nrange = ["A3", "E5"]', "f").applied_to(TRUMPET)
    assert (narrow.comfortable_high, narrow.strong_high, narrow.high) == (parse_pitch("E5"),) * 3


def test_a_job_counts_before_the_player():
    player = parse_settings('["Trumpet in Bb"]\nbreath_s = 6\n["Flute"]\nbreath_s = 5', "player")
    job = parse_settings('["Trumpet in Bb"]\nbreath_s = 7', "job")
    both = player.under(job)
    assert both.applied_to(TRUMPET).breath_s == 7.0
    assert both.applied_to(find_instrument("flute")).breath_s == 5.0
    assert OwnFigures().words(TRUMPET) == ()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('["Trumpet in Bb"\n', "cannot be read as TOML"),
        ("breath_s = 4", "stands outside an instrument"),
        ('["Kazoo"]\nbreath_s = 4', "not an instrument"),
        ('["Flute"]\nbreath = 4', "nothing that can be set; use safe"),
        ('["Flute"]\nbreath_s = 400', "from 1 to 60"),
        ('["Flute"]\nbreath_s = true', "from 1 to 60"),
        ('["Flute"]\nsafe = ["H4", "C6"]', "two written pitches"),
        ('["Flute"]\nsafe = "C4"', "two written pitches"),
        ('["Flute"]\nsafe = ["C6", "C4"]', "name the lowest note first"),
        ('["Flute"]\nsafe = ["C4", "C7"]\nstrong = ["D4", "A6"]', "safe must lie within strong"),
    ],
)
def test_what_cannot_be_is_refused_with_what_to_write(text, words):
    with pytest.raises(InputError, match=words):
        parse_settings(text, "mine.toml")
