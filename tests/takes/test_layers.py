"""Layers beside one another; the tolerances are common practice, no source."""

import pytest

from obbligato.errors import InputError
from obbligato.takes.layers import Layer, compare_layers
from obbligato.takes.readings import NoteReading, PhraseReading, PhraseSpan, TakeReading, TimedLine, TimedNote

LINE = TimedLine(tuple(TimedNote(i, 1.0 + 0.5 * i, 1.5 + 0.5 * i, 60 + i) for i in range(8)), (PhraseSpan(0, 0, 7),))
SLOWLY_APART_MS = (0.0, 9.0, -8.0, 10.0, -12.0, 8.0, -9.0, 11.0)


def _layer(name, *, start_ms=None, release_ms=None, cents=None, click_dbfs=None, line=LINE, level_db=-20.0):
    """A layer with everything in its place but what is given, by note."""
    notes = tuple(
        NoteReading(
            i,
            True,
            (cents or {}).get(i, 0.0),
            (start_ms or {}).get(i, 0.0),
            level_db,
            release_ms=(release_ms or {}).get(i, 0.0),
        )
        for i in range(len(line.notes))
    )
    phrase = PhraseReading(0, 100.0, "", (), notes, 0)
    return Layer(name, line, TakeReading(name, 0.0, 0.0, 0.0, (phrase,)), click_dbfs)


def _alive(name, **how):
    return _layer(name, start_ms=dict(enumerate(SLOWLY_APART_MS)), **how)


def test_layers_that_are_together_are_left_alone():
    found = compare_layers([_layer("take 1"), _alive("take 2")])
    assert len(found.sentences) == 1
    assert found.sentences[0].startswith("The layers start, end and sit in tune together")


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ({"start_ms": {3: 40.0}}, "Take 3 starts 30 ms late in note 4,"),
        ({"release_ms": {5: -80.0}}, "Take 3 lets go 80 ms too early in note 6,"),
        ({"cents": {2: 15.0, 6: -20.0}}, "Take 3 is 20 cents flat in note 7, 15 cents sharp in note 3,"),
    ],
)
def test_the_layer_that_is_apart_is_named_with_place_and_size(fault, words):
    # Where one layer is at 0, one at +10 and one at +40 ms, the last is 30 ms behind the middle one.
    found = compare_layers([_layer("take 1"), _alive("take 2"), _layer("take 3", **fault)])
    assert [s for s in found.sentences if s.startswith(words)]
    assert not [s for s in found.sentences if s.startswith(("Take 1", "Take 2"))]


def test_copies_are_too_tight():
    found = compare_layers([_layer("take 1"), _layer("take 2"), _alive("take 3")])
    assert [s for s in found.sentences if s.startswith("Two layers lie within 0.0 ms")]


def test_a_breath_that_all_take_in_one_place_is_told_and_a_staggered_one_is_not():
    early = {3: -200.0}
    both = compare_layers([_layer("take 1", release_ms=early), _alive("take 2", release_ms=early)])
    assert [s for s in both.sentences if s.startswith("All layers break off before note 5")]
    one = compare_layers([_layer("take 1", release_ms=early), _alive("take 2", release_ms={5: -200.0})])
    assert not [s for s in one.sentences if s.startswith("All layers")]


def test_the_click_grows_by_6_db_and_the_playing_by_3_with_each_doubling():
    """Equal amplitudes add to 6.02 dB, equal powers to 3.01 dB: plain arithmetic."""
    layers = [_alive(f"take {i}", click_dbfs=-70.0, level_db=-20.0) for i in range(4)]
    found = compare_layers(layers)
    assert found.click_dbfs == pytest.approx(-70.0 + 2 * 6.02, abs=0.01)
    assert found.click_under_db == pytest.approx(50.0 - 2 * 3.01, abs=0.01)
    assert [s for s in found.sentences if "adds up over the 4 layers to -58 dBFS" in s]


def test_harmony_is_compared_where_it_moves_together():
    thirds = TimedLine(
        tuple(TimedNote(i, n.start_s, n.end_s, n.midi + 4) for i, n in enumerate(LINE.notes[2:])),
        (PhraseSpan(0, 0, 5),),
    )
    found = compare_layers([_layer("take 1"), _layer("take 2", line=thirds, start_ms={1: 60.0})])
    assert found.notes[0].start_ms == (None, None)
    assert found.notes[3].start_ms == pytest.approx((-30.0, 30.0))


def test_what_is_no_layer_is_refused():
    with pytest.raises(InputError, match="two takes or more"):
        compare_layers([_layer("take 1")])
    later = TimedLine(tuple(TimedNote(n.index, n.start_s + 99, n.end_s + 99, 60) for n in LINE.notes), LINE.phrases)
    with pytest.raises(InputError, match="no note in common"):
        compare_layers([_layer("take 1"), _layer("take 2", line=later)])
