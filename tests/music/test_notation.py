"""Rhythm on the page: handbook cases of splitting, and tunes performed loosely."""

from fractions import Fraction as F

import numpy as np
import pytest
from music21 import corpus, stream

from obbligato.errors import InputError
from obbligato.music.grid import Meter
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.notation import measures, quantise

COMMON, WALTZ, SLOW_TWELVE = Meter(), Meter(3), Meter.from_signature("12/8")

pytestmark = pytest.mark.filterwarnings("ignore::music21.musicxml.xmlObjects.MusicXMLWarning")


def line_of(spans, pitch=70):
    """(onset, end) pairs in beats."""
    notes = tuple(Note(float(a), float(b - a), pitch) for a, b in spans)
    return Line(notes, (Phrase(0, 0, len(notes) - 1),))


def symbols(meter, *spans):
    """Lengths of the first bar's symbols in quarter notes, rests negative, by exact performance."""
    bar = measures(line_of(spans), meter, first_bar=1, last_bar=1).measures[0]
    return [float(p.duration * meter.beat_quarters) * (1 if p.note is not None else -1) for p in bar.pieces]


# Common practice of engraving, as in any handbook of notation (no single source): what a bar holding these notes
# looks like, in quarter notes.
@pytest.mark.parametrize(
    ("meter", "spans", "expected"),
    [
        (COMMON, [(0, 4)], [4]),
        (COMMON, [(0, 3), (3, 4)], [3, 1]),
        (COMMON, [(0, 1.5), (1.5, 4)], [1.5, 0.5, 2]),
        (COMMON, [(0, 0.5), (0.5, 1.5), (1.5, 2), (2, 4)], [0.5, 1, 0.5, 2]),
        (COMMON, [(0, 1), (1, 3), (3, 4)], [1, 2, 1]),
        (COMMON, [(0, 1.5), (1.5, 2.5), (2.5, 4)], [1.5, 0.5, 0.5, 0.5, 1]),
        (COMMON, [(0, 1), (1, 4)], [1, 1, 2]),
        (COMMON, [(0, 0.25), (0.25, 1), (1, 2), (2, 4)], [0.25, 0.75, 1, 2]),
        (COMMON, [(0.5, 1), (3, 4)], [-0.5, 0.5, -1, -1, 1]),
        (WALTZ, [(0, 3)], [3]),
        (WALTZ, [(0, 1)], [1, -1, -1]),
        (SLOW_TWELVE, [(0, 4)], [6]),
        (SLOW_TWELVE, [(0, F(5, 3)), (F(5, 3), 2), (2, 4)], [1.5, 1, 0.5, 3]),
        (SLOW_TWELVE, [(0, 1), (1, 3), (3, 4)], [1.5, 1.5, 1.5, 1.5]),
        (SLOW_TWELVE, [(0, F(1, 3)), (2, 4)], [0.5, -0.5, -0.5, -1.5, 3]),
        (Meter.from_signature("9/8"), [(0, 3)], [3, 1.5]),
        (Meter.from_signature("7/8"), [(0, 2), (2, 4), (4, 7)], [1, 1, 1.5]),
        (Meter.from_signature("7/8"), [(0, 1), (1, 4), (4, 7)], [0.5, 0.5, 1, 1.5]),
    ],
)
def test_lengths_are_split_so_that_the_beat_shows(meter, spans, expected):
    assert symbols(meter, *spans) == expected


def test_ties_join_the_pieces_of_one_note_over_the_bar_line():
    bars = measures(line_of([(2, 6)]), COMMON, first_bar=1, last_bar=2).measures
    held = [p for bar in bars for p in bar.pieces if p.note == 0]
    assert [(p.duration, p.tied_from_before, p.tied_to_next) for p in held] == [(2, False, True), (2, True, False)]


def test_silent_bars_are_empty_and_numbers_are_the_songs():
    bars = measures(line_of([(-1, 0), (8, 12)]), COMMON, first_bar=1, last_bar=4).measures
    assert [(bar.number, len(bar.pieces)) for bar in bars] == [(0, 3), (1, 0), (2, 0), (3, 1), (4, 0)]


def test_triplets_are_marked_as_groups():
    third = F(1, 3)
    triplet = measures(
        line_of([(0, third), (third, 2 * third), (2 * third, 1), (1, 2)]), COMMON, first_bar=1, last_bar=1
    )
    groups = [p.tuplet for p in triplet.measures[0].pieces]
    assert [(t.actual, t.normal, t.starts, t.stops) for t in groups[:3]] == [
        (3, 2, True, False),
        (3, 2, False, False),
        (3, 2, False, True),
    ]
    assert groups[3] is None


def test_a_turn_in_half_a_beat_is_a_group_of_three_sixteenths_beside_a_plain_eighth():
    """Common practice, no source: 3 in the time of 2 sixteenths, not part of a group of six."""
    sixth = F(1, 6)
    turn = [(1, F(3, 2)), (F(3, 2), F(3, 2) + sixth), (F(3, 2) + sixth, 2 - sixth), (2 - sixth, 2)]
    bar = measures(line_of([(0, 1), *turn, (2, 4)]), COMMON, first_bar=1, last_bar=1).measures[0]
    found = [p.tuplet and (p.tuplet.actual, p.tuplet.normal, p.tuplet.starts, p.tuplet.stops) for p in bar.pieces]
    assert found == [None, None, (3, 2, True, False), (3, 2, False, False), (3, 2, False, True), None]
    assert bar.pieces[2].duration == sixth


def test_six_in_a_beat_are_two_groups_of_three_unless_a_note_lies_across():
    run = [(F(i, 6), F(i + 1, 6)) for i in range(6)]
    split = measures(line_of([*run, (1, 4)]), COMMON, first_bar=1, last_bar=1).measures[0].pieces
    assert [(p.tuplet.actual, p.tuplet.starts, p.tuplet.stops) for p in split[:6]] == 2 * [
        (3, True, False),
        (3, False, False),
        (3, False, True),
    ]
    across = [run[0], run[1], (F(1, 3), F(4, 6)), run[4], run[5], (F(1), F(4))]
    whole = measures(line_of(across), COMMON, first_bar=1, last_bar=1).measures[0].pieces
    assert {p.tuplet.actual for p in whole[:5]} == {6}


def test_two_in_the_time_of_three_are_dotted_eighths():
    """A duplet in compound time may be printed as two dotted eighths (common practice)."""
    assert symbols(SLOW_TWELVE, (0, F(1, 2)), (F(1, 2), 1), (1, 4)) == [0.75, 0.75, 1.5, 3]


@pytest.mark.parametrize(
    "meter", [COMMON, WALTZ, SLOW_TWELVE, Meter.from_signature("2/2"), Meter.from_signature("7/8")]
)
def test_every_bar_is_full_and_nothing_is_lost(meter):
    """Property, on random lines: pieces abut from bar line to bar line, and each note has one row of tied pieces."""
    rng = np.random.default_rng(2)
    onsets = np.cumsum(rng.choice([0.25, 1 / 3, 0.5, 0.7, 1.0, 1.5, 2.75, 5.0], 80))
    ends = np.minimum(onsets[1:], onsets[:-1] + rng.uniform(0.1, 3.0, 79))
    line = line_of(list(zip(onsets[:-1], ends, strict=True)))
    seen = []
    for bar in measures(line, meter, first_bar=1, last_bar=1).measures:
        at = F(0)
        for piece in bar.pieces:
            assert piece.onset == at
            at += piece.duration
            if piece.note is not None and not piece.tied_from_before:
                seen.append(piece.note)
        assert at in (0, meter.beats_per_bar)
    assert seen == list(range(79))


def chorale():
    """A Bach chorale soprano (BWV 66.6, bundled with music21): onsets and ends in quarters from bar 1."""
    part = corpus.parse("bach/bwv66.6").parts[0]
    assert isinstance(part, stream.Part)
    pickup = part.getElementsByClass("Measure")[0].duration.quarterLength
    notes = part.flatten().stripTies().notes
    return [(F(n.offset) - F(pickup), F(n.offset) - F(pickup) + F(n.duration.quarterLength)) for n in notes]


def test_a_chorale_played_loosely_is_written_as_it_is_printed():
    """Scatter 0.03 and lag 0.06 quarter are 22 and 45 ms at 80 a minute; an eighth, the shortest value, is 0.5."""
    rng = np.random.default_rng(4)
    tune = chorale()
    played = [
        (float(a) + 0.06 + 0.03 * float(np.clip(rng.standard_normal(), -2, 2)), float(b) - 0.02) for a, b in tune
    ]
    written = quantise(line_of(played), COMMON).notes
    assert [(n.onset, n.end) for n in written] == tune


def test_swung_eighths_are_written_straight_and_said_to_swing():
    """Swing ratios of 1.4 to 2.3 are 0.58 to 0.7 here; Friberg and Sundstroem (2002) report up to 3.5."""
    rng = np.random.default_rng(6)
    for middle in (0.58, 0.64, 0.7):
        places = [beat + half for beat in range(24) for half in (0.0, middle)]
        jitter = rng.normal(0.03, 0.015, len(places))
        played = np.asarray(places) + jitter
        quantised = quantise(line_of(list(zip(played, [*played[1:], 24.0], strict=True))), COMMON)
        assert quantised.feel == "swing"
        assert [n.onset for n in quantised.notes] == [F(i, 2) for i in range(48)]


def test_straight_eighths_and_triplets_do_not_pass_for_swing():
    straight = [(i / 2, i / 2 + 0.5) for i in range(40)]
    late = [(i / 2 + 0.07, i / 2 + 0.57) for i in range(40)]
    triplets = [(i / 3, (i + 1) / 3) for i in range(60)]
    for spans in (straight, late, triplets):
        assert quantise(line_of(spans), COMMON).feel == ""
    assert [n.onset for n in quantise(line_of(triplets), COMMON).notes] == [F(i, 3) for i in range(60)]


def test_an_early_downbeat_belongs_to_its_bar():
    notes = measures(line_of([(0, 1), (1, 2), (2, 3), (3.04, 3.9), (3.96, 6)]), COMMON, first_bar=1, last_bar=2)
    assert [p.note for p in notes.measures[1].pieces] == [4, None]


def test_the_line_is_not_changed_and_a_crowd_of_notes_is_refused():
    line = line_of([(i / 100, (i + 1) / 100) for i in range(60)])
    with pytest.raises(InputError, match="60 notes fall into one beat"):
        quantise(line, COMMON)
