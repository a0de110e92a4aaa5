"""A phrase put together from two takes: the notes wanted, and cuts that no attack of either take lies in.

The truth is that of the invented players: which note each plays wrong, and when each note begins.
"""

from __future__ import annotations

import numpy as np
import pytest

import players
from obbligato.takes.assess import assess_takes, choose_again
from obbligato.takes.choose import Wishes

PHRASE, LATE_MS = 1, 30.0


@pytest.fixture(scope="module")
def assessed():
    """Take a plays the phrase's first note wrong, take b its last one and all of it 30 ms late."""
    rng = np.random.default_rng(4)
    line = players.invent_line(rng, phrases=3)
    last = line.phrases[PHRASE].last_note - line.phrases[PHRASE].first_note
    quiet = {"scatter_ms": 0.0, "scatter_cents": 0.0, "scatter_db": 0.0}
    how = {
        "a": players.Playing(wrong={PHRASE: 0}, **quiet),
        "b": players.Playing(wrong={PHRASE: last}, late_ms={PHRASE: LATE_MS}, **quiet),
    }
    return assess_takes(line, [(name, players.play(line, h, rng)) for name, h in how.items()])


def _again(assessed, **wishes):
    return choose_again(assessed.assessment.line, assessed.takes, wishes=Wishes(**wishes)).assessment


def test_each_note_comes_from_a_take_that_plays_it_right(assessed):
    line = assessed.assessment.line
    choice = _again(assessed, inside=frozenset({PHRASE})).choice[PHRASE]
    span = line.phrases[PHRASE]
    takes = {i: piece.take for piece in choice.pieces for i in range(piece.first_note, piece.last_note + 1)}
    assert sorted(takes) == list(range(span.first_note, span.last_note + 1))
    assert takes[span.first_note] == "b"
    assert takes[span.last_note] == "a"


def test_no_seam_inside_a_phrase_lies_across_an_attack_of_either_take(assessed):
    line, assessment = assessed.assessment.line, _again(assessed, inside=frozenset({PHRASE}))
    span = line.phrases[PHRASE]
    starts_s = [line.notes[i].start_s for i in range(span.first_note, span.last_note + 1)]
    attacks_s = np.array([*starts_s, *(s + LATE_MS / 1e3 for s in starts_s)])
    within = [s for s in assessment.seams if starts_s[0] + 0.1 < s.at_s < starts_s[-1] + 0.1]
    assert within
    for seam in within:
        half_s = seam.fade_ms / 2e3
        assert not ((attacks_s > seam.at_s - half_s) & (attacks_s < seam.at_s + half_s)).any()


def test_a_phrase_stays_whole_unless_asked_or_when_decided_by_hand(assessed):
    assert not any(c.pieces for c in assessed.assessment.choice)
    by_hand = _again(assessed, inside=frozenset({PHRASE}), overrides={PHRASE: "a"}).choice[PHRASE]
    assert (by_hand.take, by_hand.pieces) == ("a", ())
