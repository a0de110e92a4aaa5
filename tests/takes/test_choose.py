"""Choosing against every possible choice, and the sentences."""

from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pytest

from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter
from obbligato.takes.choose import Wishes, choose
from obbligato.takes.coverage import coverage
from obbligato.takes.readings import NoteReading, PhraseReading, PhraseSpan, TakeReading, TimedLine, TimedNote

N_PHRASES = 5
LINE = TimedLine(
    tuple(TimedNote(i, 2.0 * i, 2.0 * i + 1.0, 60) for i in range(N_PHRASES)),
    tuple(PhraseSpan(i, i, i) for i in range(N_PHRASES)),
)


def _take(path: str, scores: list[float], flags: dict[int, tuple[str, ...]] | None = None) -> TakeReading:
    faults = flags or {}
    phrases = tuple(
        PhraseReading(
            i,
            score,
            f"Bar {i}: " + ("all of it 118 ms late. Use another take." if i in faults else "clean."),
            faults.get(i, ()),
            (NoteReading(i, True, 0.0, 0.0, -20.0),),
            0,
        )
        for i, score in enumerate(scores)
    )
    return TakeReading(path, 0.0, 0.0, 0.0, phrases)


def test_the_choice_is_the_cheapest_of_all() -> None:
    rng = np.random.default_rng(5)
    for _ in range(20):
        scores = rng.uniform(60, 100, size=(3, N_PHRASES))
        takes = [_take(f"t{i}", list(row)) for i, row in enumerate(scores)]
        chosen = [int(c.take[1]) for c in choose(LINE, takes)]

        def cost(path: tuple[int, ...] | list[int], scores: np.ndarray = scores) -> float:
            lacks = sum(100 - scores[t, p] for p, t in enumerate(path))
            return lacks + 4.0 * sum(a != b for a, b in pairwise(path))

        assert cost(chosen) == pytest.approx(min(cost(p) for p in product(range(3), repeat=N_PHRASES)))


def test_a_faulty_phrase_is_taken_from_elsewhere_and_the_reason_says_so() -> None:
    takes = [_take("a", [100, 100, 85, 100, 100], {2: ("late",)}), _take("b", [90] * 5)]
    choice = choose(LINE, takes)
    assert [c.take for c in choice] == ["a", "a", "b", "a", "a"]
    assert choice[2].why == "a is not right here: all of it 118 ms late."


def test_the_ends_of_the_dial_mean_what_they_say() -> None:
    # As few joins as can be, even for a fault; and the best of each phrase, even for half a point.
    takes = [_take("a", [100, 60, 100, 99.5, 100], {1: ("late",)}), _take("b", [90, 100, 90, 100, 90])]

    def taken(joins: float) -> str:
        return "".join(c.take for c in choose(LINE, takes, Wishes(joins=joins)))

    assert taken(0.0) in {"aaaaa", "bbbbb"}
    assert taken(0.5) == "abaaa"
    assert taken(1.0) == "ababa"


def test_the_fewest_joins_still_leave_out_a_take_that_does_not_hold_the_phrase() -> None:
    a, b = _take("a", [100] * 5), _take("b", [90] * 5)
    absent = replace(a.phrases[4], score=0.0, notes=(NoteReading(4, False, None, None, None),))
    takes = [replace(a, phrases=(*a.phrases[:4], absent)), replace(b, phrases=(*b.phrases[:4], b.phrases[4]))]
    assert [c.take for c in choose(LINE, takes, Wishes(joins=0.0))] == ["b"] * 5
    assert "a does not hold" in choose(LINE, takes, Wishes(joins=1.0))[4].why


def test_a_take_that_would_be_used_but_for_a_fault_is_named_with_it() -> None:
    takes = [_take("a", [60] * 5), _take("b", [90, 90, 60, 90, 90], {2: ("flat",)})]
    choice = choose(LINE, takes)
    assert [c.take for c in choice] == ["b", "b", "a", "b", "b"]
    assert choice[2].change == "It would be b, were bar 2 not flat."
    mended = replace(takes[1].phrases[2], score=90.0, flags=())
    better = replace(takes[1], phrases=(*takes[1].phrases[:2], mended, *takes[1].phrases[3:]))
    assert [c.take for c in choose(LINE, [takes[0], better])] == ["b"] * 5


def test_a_base_take_is_kept_unless_another_is_clearly_better() -> None:
    takes = [_take("a", [97, 97, 97, 97, 70]), _take("b", [100] * 5)]
    assert [c.take for c in choose(LINE, takes, Wishes(base="a"))] == ["a", "a", "a", "a", "b"]
    assert [c.take for c in choose(LINE, takes)] == ["b"] * 5


def test_what_would_change_the_choice_is_what_does() -> None:
    takes = [_take("a", [100, 95, 90, 100, 100]), _take("b", [90, 100, 70, 60, 90], {3: ("flat",)})]
    choice = choose(LINE, takes)
    assert choice[1].change == "It would be b, better here by 5 points, if joins were cheaper."
    # Two joins of 4 points and 20 points of score, less 5 by which the phrase before is better in it.
    assert choice[2].change == "Next would be b, 23 points behind."
    for more, wanted in ((22, "a"), (24, "b")):
        phrases = [replace(p, score=p.score + more * (p.index == 2)) for p in takes[1].phrases]
        better = replace(takes[1], phrases=tuple(phrases))
        assert choose(LINE, [takes[0], better])[2].take == wanted


def test_no_join_in_a_rest_is_dear_enough_to_keep_a_fault() -> None:
    # The other take is 30 dB softer and 60 cents off, the dearest join there is, and no better in the faulty phrase.
    other = _take("b", [90] * 5)
    softer = tuple(replace(p, notes=(replace(p.notes[0], level_db=-50.0),)) for p in other.phrases)
    takes = [_take("a", [100, 100, 90, 100, 100], {2: ("late",)}), replace(other, tuning_cents=60.0, phrases=softer)]
    assert [c.take for c in choose(LINE, takes)] == ["a", "a", "b", "a", "a"]


def test_the_players_word_counts_more_than_any_score() -> None:
    takes = [_take("a", [100] * 5), _take("b", [40] * 5, {2: ("late",)})]
    choice = choose(LINE, takes, Wishes(overrides={2: "b"}))
    assert [c.take for c in choice] == ["a", "a", "b", "a", "a"]
    assert choice[2].why.startswith("By hand.")


@pytest.mark.parametrize(
    ("overrides", "match"), [({9: "a"}, "no phrase 10"), ({-1: "a"}, "no phrase 0"), ({0: "z"}, "'z' is none")]
)
def test_impossible_overrides_are_refused(overrides: dict[int, str], match: str) -> None:
    with pytest.raises(InputError, match=match):
        choose(LINE, [_take("a", [100] * 5)], Wishes(overrides=overrides))


def test_without_takes_there_is_no_choice() -> None:
    with pytest.raises(InputError, match="no take to choose from"):
        choose(LINE, [])


def test_coverage_names_the_phrases_with_too_few_versions() -> None:
    takes = [_take("a", [100] * 5), _take("b", [100, 80, 100, 100, 80], {1: ("late",), 4: ("flat",)})]
    takes.append(_take("c", [100, 80, 100, 100, 100], {1: ("noise",)}))
    sentence = coverage(LINE, takes)
    assert sentence == "Every phrase has two or more usable versions, except 0:02.000 to 0:03.000 (one)."
    assert coverage(LINE, takes[:1] * 2) == "Every phrase has two or more usable versions."


def test_coverage_counts_by_bars_where_they_are_known() -> None:
    # Bars of 2 s at 120 a minute: phrase i is bar i + 1.
    grid = Grid.steady(120.0, 0.0, Meter())
    takes = [_take("a", [100] * 5, {4: ("flat",)}), _take("b", [100] * 5, {1: ("late",), 2: ("flat",), 4: ("late",)})]
    said = "Every bar has two or more usable versions, except bars 2 to 3 (one) and bar 5 (none)."
    assert coverage(LINE, takes, grid=grid) == said
