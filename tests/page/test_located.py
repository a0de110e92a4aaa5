"""Rows for a screen: every note of the line is found in the drawing, in its place, from any thread."""

from __future__ import annotations

import re
import threading
from xml.etree import ElementTree as ET

import pytest

from obbligato.music.instruments import find_instrument
from obbligato.music.line import Line, Note, Phrase
from obbligato.page.located import (
    STAVE,
    first_note_index,
    in_sounding_pitch,
    located_rows,
    stretch,
    written_notes,
)
from obbligato.page.part_make import make_part

NOTES = tuple(
    Note(beat, length, pitch)
    for beat, length, pitch in (
        (0.0, 1.0, 62), (1.0, 0.33, 65), (4.0, 2.0, 67), (7.0, 2.0, 70), (12.0, 1.0, 69), (15.0, 3.0, 65),
        (24.0, 1.0, 62), (25.0, 1.0, 60), (40.0, 4.0, 67),
    )
)  # fmt: skip
LINE = Line(NOTES, (Phrase(0, 0, len(NOTES) - 1),))


@pytest.fixture
def part(song, heading):
    return make_part(LINE, song, find_instrument("flugelhorn"), heading, gather_rests=False)


def drawn_notes(rows):
    return [int(n) for row in rows for n in re.findall(r'data-note="(-?\d+)"', row.svg)]


def test_every_note_is_in_the_drawing_once_for_each_of_its_heads(part):
    rows = located_rows(part, starts=range(1, 25, 4), width_staves=28)
    symbols = [symbol.note for row in rows for bar in row.bars for symbol in bar.symbols if symbol.note is not None]
    assert sorted(drawn_notes(rows)) == sorted(symbols)
    assert set(symbols) == set(range(len(NOTES)))
    # The note over the bar line (beat 7, two beats) and the one from beat 15 are tied: a head in each bar.
    assert symbols.count(3) == 2
    assert symbols.count(5) == 2


def test_a_stretch_counts_its_notes_as_the_whole_line_does(part):
    rows = located_rows(stretch(part, 3, 8), starts=[3, 7], width_staves=28, first_note=first_note_index(part, 3))
    assert [bar.number for row in rows for bar in row.bars] == list(range(3, 9))
    # Bar 3 (beats 8 to 12) begins inside the note of beat 7, which began before it.
    assert rows[0].bars[0].symbols[0].note == 3
    assert set(drawn_notes(rows)) == {3, 4, 5, 6, 7}


def test_symbols_stand_in_order_between_the_bar_lines(part):
    for row in located_rows(part, starts=range(1, 25, 4), width_staves=28):
        edges = [bar.left for bar in row.bars] + [row.bars[-1].right]
        assert edges == sorted(edges)
        assert row.bars[-1].right <= row.width
        for bar in row.bars:
            places = [symbol.x for symbol in bar.symbols]
            assert places == sorted(places)
            assert all(bar.left < x < bar.right for x in places)
            assert bar.left < bar.music_left < bar.right


def test_a_stave_is_as_high_as_it_says(part):
    (row, *_) = located_rows(part, starts=range(1, 25, 4), width_staves=28)
    root = ET.fromstring(row.svg)
    inner = next(element for element in root if "viewBox" in element.attrib)
    scale = float(root.attrib["viewBox"].split()[2]) / float(inner.attrib["viewBox"].split()[2])
    stave = next(g for g in root.iter() if g.get("class") == "staff")
    lines = [path.attrib["d"].split()[1] for path in stave if path.tag.endswith("path")]
    tops = sorted(float(y.split("L")[0]) for y in lines)[:5]
    # Verovio rounds its unit to whole thousandths; a hundredth of a space is far below a pixel.
    assert (tops[-1] - tops[0]) * scale == pytest.approx(STAVE, abs=0.2)
    assert tops[0] * scale == pytest.approx(row.stave_top, abs=0.2)


def test_the_drawing_takes_its_colour_from_the_page_and_shares_no_names(part):
    rows = located_rows(part, starts=range(1, 25, 4), width_staves=28)
    names = [name for row in rows for name in re.findall(r' id="([^"]+)"', row.svg)]
    assert len(names) == len(set(names))
    assert not any(re.search(r'color="|<style|fill="#|stroke="#', row.svg) for row in rows)


def test_written_names_are_a_tone_above_on_a_flugelhorn_and_plain_in_sounding_pitch(part, song, heading):
    # Sounding D4 (62): a B flat instrument writes E4 (Adler, The Study of Orchestration, from memory).
    assert written_notes(part)[0] == (1, 0.0, "E4")
    plain = make_part(LINE, song, in_sounding_pitch(find_instrument("flugelhorn")), heading, gather_rests=False)
    assert written_notes(plain)[0] == (1, 0.0, "D4")
    assert [bar for bar, _, _ in written_notes(part)] == [1, 1, 2, 2, 4, 4, 7, 7, 11]


def test_any_thread_can_engrave(part):
    found, failed = [], []

    def engrave():
        try:
            found.append(len(located_rows(stretch(part, 1, 4), starts=[1], width_staves=28)))
        except Exception as error:
            failed.append(error)

    threads = [threading.Thread(target=engrave) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    assert found == [1] * 4
