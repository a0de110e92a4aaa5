"""Short-held notes: detached at full value where it is the manner of the line, a rest where it is not.

The cases are common practice of notation, no single source; the tune is one that music21 carries.
"""

from fractions import Fraction as F

import numpy as np
import pytest
from music21 import corpus

from obbligato.music.grid import Meter
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.notation import quantise

COMMON = Meter()

pytestmark = pytest.mark.filterwarnings("ignore::music21.musicxml.xmlObjects.MusicXMLWarning")


def written(spans):
    """(onset, end) of the notes as written, and which are detached."""
    notes = tuple(Note(float(a), float(b - a), 70) for a, b in spans)
    found = quantise(Line(notes, (Phrase(0, 0, len(notes) - 1),)), COMMON).notes
    return [(n.onset, n.end) for n in found], [n.detached for n in found]


@pytest.mark.parametrize("share", [0.45, 0.5, 0.6, 0.7])
def test_equal_notes_all_played_short_are_printed_in_full_and_detached(share):
    rests, detached = written([(beat, beat + share) for beat in range(16)])
    assert rests[:-1] == [(beat, beat + 1) for beat in range(15)]
    assert all(detached[:-1])


def test_one_short_note_among_connected_ones_is_followed_by_a_rest():
    spans = [(beat, beat + (0.45 if beat == 8 else 0.95)) for beat in range(16)]
    found, detached = written(spans)
    assert found[8] == (8, F(17, 2))
    assert [end for _, end in found[:8]] == list(range(1, 9)) and not any(detached)


def test_a_note_on_every_other_beat_keeps_its_rests():
    """Off-beat quarters: a silence of a whole beat is a rest, however regular."""
    found, detached = written([(beat, beat + 0.9) for beat in range(1, 32, 2)])
    assert found == [(beat, beat + 1) for beat in range(1, 32, 2)] and not any(detached)


def test_the_manner_may_change_within_a_line():
    short = [(beat, beat + 0.5) for beat in range(12)]
    broad = [(beat, beat + 0.97) for beat in range(12, 24)]
    found, detached = written(short + broad)
    assert found == [(beat, beat + 1) for beat in range(24)]
    assert detached == [True] * 12 + [False] * 12


def test_a_chorale_held_for_half_its_lengths_is_written_as_it_is_printed():
    """BWV 66.6, soprano, as bundled with music21; held for 0.5 to 0.7 of its lengths, scatter 0.025 quarter."""
    part = corpus.parse("bach/bwv66.6").parts[0]
    pickup = F(part.getElementsByClass("Measure")[0].duration.quarterLength)
    notes = part.flatten().stripTies().notes
    tune = [(F(n.offset) - pickup, F(n.offset) - pickup + F(n.duration.quarterLength)) for n in notes]
    rng = np.random.default_rng(5)
    late = 0.025 * rng.standard_normal(len(tune)).clip(-2.5, 2.5)
    held = rng.uniform(0.5, 0.7, len(tune))
    played = [(float(a) + d, float(a) + d + float(b - a) * h) for (a, b), d, h in zip(tune, late, held, strict=True)]
    found, _ = written(played)
    assert sum(a == b for a, b in zip(found, tune, strict=True)) >= 0.95 * len(tune)
