"""The drawing shows the very distances and angles that the words name."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

import pytest

from obbligato.music.instruments import INSTRUMENTS, Instrument
from obbligato.play.placement import PLACEMENTS, PX_PER_M, placement_for, placement_svg, placement_text

SVG = "{http://www.w3.org/2000/svg}"


def test_every_instrument_has_one_place_and_no_place_is_for_none() -> None:
    named = [name for place in PLACEMENTS for name in place.instruments]
    assert sorted(named) == sorted(instrument.name for instrument in INSTRUMENTS)


@pytest.mark.parametrize("instrument", INSTRUMENTS, ids=lambda instrument: instrument.name)
def test_the_drawing_agrees_with_the_words(instrument: Instrument) -> None:
    place = placement_for(instrument)
    drawn = ET.fromstring(placement_svg(instrument))
    lines = {line.get("class"): line for line in drawn.iter(f"{SVG}line")}
    x1, y1, x2, y2 = (float(lines["distance"].get(end, "nan")) for end in ("x1", "y1", "x2", "y2"))
    assert math.hypot(x2 - x1, y2 - y1) / PX_PER_M == pytest.approx(place.distance_m, abs=0.002)
    assert place.range_m[0] <= place.distance_m <= place.range_m[1]
    first = placement_text(instrument)[0]
    assert f"{math.hypot(x2 - x1, y2 - y1) / PX_PER_M * 100:.0f} cm from" in first
    if "axis" in lines:
        ax1, ay1, ax2, ay2 = (float(lines["axis"].get(end, "nan")) for end in ("x1", "y1", "x2", "y2"))
        between = math.degrees(math.atan2(y1 - y2, x2 - x1) - math.atan2(ay1 - ay2, ax2 - ax1)) % 360
        assert f"{min(between, 360 - between):.0f} degrees off its axis" in first
    _, _, width, height = map(float, drawn.get("viewBox", "").split())
    assert 0 < x2 < width
    assert 0 < y2 < height
    title = drawn.find(f"{SVG}title")
    assert title is not None
    assert title.text == first
