"""Takes with no line written, beside what their invented players were told to play."""

from itertools import pairwise

import numpy as np
import pytest

import players
from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter
from obbligato.music.spans import ChordSpan
from obbligato.takes.free import assess_free, common_phrases
from obbligato.takes.free_notes import FreeTake, hear_free

GRID = Grid.steady(100.0, 2.0, Meter())


def _heard(line, *hows, seed=5):
    rng = np.random.default_rng(seed)
    return [
        hear_free(f"take {i}", players.play(line, how, rng), a4_hz=440.0, range_midi=(50, 81))
        for i, how in enumerate(hows)
    ]


@pytest.fixture(scope="module")
def line():
    return players.invent_line(np.random.default_rng(12), phrases=3)


@pytest.fixture(scope="module")
def faulty(line):
    """Three takes, each with one fault in another phrase; the first and the third are alike but for that."""
    return _heard(
        line,
        players.Playing(flat_cents={0: 40.0}, scatter_cents=2.0),
        players.Playing(noise=(1,), wrong={2: 1}, scatter_cents=2.0),
        players.Playing(clipped=(2,), scatter_cents=2.0),
    )


@pytest.mark.parametrize("timbre", ["brass", "bowed"])
def test_the_notes_that_were_played_are_found(line, timbre):
    (take,) = _heard(line, players.Playing(timbre=timbre, scatter_ms=0.0, scatter_cents=2.0))
    right = 0
    for note in line.notes:
        middle_s = (note.start_s + note.end_s) / 2
        right += any(n.midi == note.midi and n.start_s <= middle_s < n.end_s for n in take.notes)
    assert right >= 0.95 * len(line.notes)
    assert len(take.notes) <= 1.1 * len(line.notes)


def test_phrases_end_where_all_takes_rest(line, faulty):
    bounds = common_phrases(faulty)
    assert len(bounds) == len(line.phrases)
    for (start_s, end_s), phrase in zip(bounds, line.phrases, strict=True):
        assert start_s == pytest.approx(line.notes[phrase.first_note].start_s, abs=0.1)
        assert end_s == pytest.approx(line.notes[phrase.last_note].end_s, abs=0.15)


def test_faults_are_found_and_whole_phrases_without_any_are_chosen(faulty):
    found = assess_free(faulty, grid=GRID)
    flags = [[phrase.flags for phrase in take.phrases] for take in found.takes]
    assert flags == [[("flat",), (), ()], [(), ("noise",), ()], [(), (), ("clipped",)]]
    chosen = [next(t for t in found.takes if t.path == c.take) for c in found.choice]
    assert all(not take.phrases[c.phrase].flags for take, c in zip(chosen, found.choice, strict=True))
    joins = sum(a.take != b.take for a, b in pairwise(found.choice))
    assert len(found.seams) == joins > 0
    bounds = common_phrases(faulty)
    assert all(any(a[1] < s.at_s < b[0] for a, b in pairwise(bounds)) for s in found.seams)
    assert found.coverage.startswith("No line is written")


def test_another_note_makes_a_version_differ(faulty):
    words = [take.phrases[2].verdict for take in assess_free(faulty, grid=GRID).takes]
    share = [float(text.partition("differs from the other takes in ")[2].partition(" %")[0]) for text in words]
    assert share[1] > share[0]
    assert share[1] > share[2]


# A long note a semitone above a chord tone is the classic clash (common practice, no source): F over C major.
def test_a_long_note_that_rubs_against_the_chord_is_told(line):
    first = line.notes[0]
    (take,) = _heard(line, players.Playing(scatter_cents=2.0))
    root = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")[(first.midi - 5) % 12]
    whole = take.notes[-1].end_s + 1.0
    rubbing, calm = ChordSpan(0.0, whole, f"{root}:maj"), ChordSpan(0.0, whole, "N")
    verdicts = [assess_free([take], grid=GRID, chords=(chord,)).takes[0].phrases for chord in (rubbing, calm)]
    long = [n for n in take.notes if n.midi % 12 == first.midi % 12 and n.end_s - n.start_s > 0.5]
    assert long
    told = sum(phrase.verdict.count("rubs against") for phrase in verdicts[0])
    assert told >= len(long)
    assert not any("rubs" in phrase.verdict for phrase in verdicts[1])


def test_takes_without_a_note_are_refused(faulty):
    mute = FreeTake("take", faulty[0].heard, 0.0, False, (), np.zeros(0))
    with pytest.raises(InputError, match="No note is heard"):
        assess_free([mute], grid=GRID)
