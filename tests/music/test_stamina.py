"""What a line costs lip and bow.

Playing to resting one to one for high brass, two to one for lower; a full bow of 4 to 6 s at mezzo-forte and 1.5 to
3 s at fortissimo: common practice, no source.
"""

from dataclasses import replace

import pytest

from obbligato.job.line_editing import apply_edit
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Note
from obbligato.music.stamina import budgets, stamina_remarks

GRID = Grid.steady(60, 0.0, Meter())


def playing(share, pitch, *, velocity=80, seconds=240):
    """A note every other second that sounds for this share of the time."""
    return [Note(2.0 * i, 2.0 * share, pitch, velocity) for i in range(seconds // 2)]


@pytest.mark.parametrize(
    ("name", "share", "over"),
    [("trumpet", 0.48, False), ("trumpet", 0.52, True), ("trombone", 0.65, False), ("trombone", 0.68, True)],
)
def test_as_much_rest_as_playing_for_high_brass_and_half_as_much_for_lower(name, share, over):
    instrument = find_instrument(name)
    low = instrument.to_sounding(instrument.comfortable_low)
    (budget,) = budgets(playing(share, low), GRID, instrument)
    assert budget.over == over
    assert budget.used == pytest.approx(120.0 * share)
    assert [r.kind for r in stamina_remarks(playing(share, low), GRID, instrument)] == (["lip"] if over else [])


def test_high_and_loud_playing_costs_more_and_a_short_line_is_followed_by_rest():
    trumpet = find_instrument("trumpet")
    low, high = (trumpet.to_sounding(p) for p in (trumpet.comfortable_low, trumpet.strong_high))
    (soft,), (loud,), (top,) = (
        budgets(playing(0.4, pitch, velocity=v), GRID, trumpet) for pitch, v in ((low, 80), (low, 112), (high, 80))
    )
    assert (loud.used, top.used) == (pytest.approx(1.5 * soft.used), pytest.approx(2.0 * soft.used))
    (short,) = budgets([Note(0.0, 40.0, low)], GRID, trumpet)
    assert (short.used, short.allowed, short.over) == (pytest.approx(40.0), pytest.approx(80.0), False)


def test_the_hardest_two_minutes_are_found_where_they_are():
    trumpet = find_instrument("trumpet")
    low = trumpet.to_sounding(trumpet.comfortable_low)
    notes = playing(0.2, low) + [replace(n, onset_beat=n.onset_beat + 240.0) for n in playing(0.8, low, seconds=120)]
    (budget,) = budgets(notes, GRID, trumpet)
    assert (budget.first_bar, budget.used) == (61, pytest.approx(96.0))


@pytest.mark.parametrize(
    ("velocity", "length_s", "remarks"), [(80, 4.0, 0), (80, 6.1, 1), (112, 1.5, 0), (112, 3.1, 1)]
)
@pytest.mark.parametrize("name", ["violin", "viola", "cello"])
def test_a_full_bow(name, velocity, length_s, remarks):
    instrument = find_instrument(name)
    notes = [Note(0.0, length_s, 60, velocity)]
    found = stamina_remarks(notes, GRID, instrument)
    assert len(found) == remarks
    for remark in found:
        for fix in remark.fixes:
            assert stamina_remarks(apply_edit(tuple(notes), fix.edit, GRID, instrument), GRID, instrument) == []
    assert (velocity, length_s) != (112, 3.1) or found[0].fixes


def test_who_has_neither_lip_nor_bow_has_no_budget():
    assert budgets([Note(0.0, 9.0, 72)], GRID, find_instrument("flute")) == ()
