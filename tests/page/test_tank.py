"""The picture of the air: what is drawn is what the tank says, and the words say the same."""

from xml.etree import ElementTree as ET

import pytest

from obbligato.music.breath import read_tank
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Note
from obbligato.page.tank import tank_svg, tank_words

SVG = "{http://www.w3.org/2000/svg}"
GRID = Grid.steady(60, 0.0, Meter())
OBOE = find_instrument("oboe")  # 16 s at mezzo-forte, 8 s of reserve
NOTES = (Note(0.0, 8.0, 72), Note(8.0, 12.0, 72), Note(20.0, 8.0, 72), Note(32.0, 4.0, 72))


def test_words_name_the_lowest_place_the_reserve_and_where_the_air_is_gone():
    """After 8, 20 and 28 s of 16 there are 0.5, -0.25 and -0.75 breaths; four seconds of rest fill everything."""
    words = tank_words(NOTES, read_tank(NOTES, GRID, OBOE), GRID)
    assert words == (
        "The air is lowest after the note of bar 6 beat 1, where 100% of the reserve is used. "
        "The reserve is drawn on in bar 3. The air is gone in bar 6."
    )


def test_every_note_falls_from_what_is_there_to_what_is_left_and_meets_the_next():
    root = ET.fromstring(tank_svg(NOTES, read_tank(NOTES, GRID, OBOE), GRID))
    assert root.find(f"{SVG}desc").text == tank_words(NOTES, read_tank(NOTES, GRID, OBOE), GRID)
    slopes = [p for p in root.iter(f"{SVG}path") if p.get("fill") == "none"]
    ends = [[tuple(map(float, point.split())) for point in p.get("d")[1:].split(" L")] for p in slopes]
    (a, b, c, d) = ends
    assert a[1] == b[0]
    assert b[1] == c[0]
    full, empty = a[0][1], c[1][1]
    # 0.5 of 1.5 breaths is a third of the height; the last note begins with a full breath again.
    assert (a[1][1] - full) / (empty - full) == pytest.approx(1 / 3, abs=0.001)
    assert d[0][1] == full
    assert [bool(p.get("stroke-dasharray")) for p in slopes] == [False, False, True, False]


def test_an_instrument_without_breath_has_words_and_no_curve():
    svg = tank_svg(NOTES, (), GRID)
    assert "needs no breath" in svg
    assert not [p for p in ET.fromstring(svg).iter(f"{SVG}path") if p.get("fill") == "none"]
