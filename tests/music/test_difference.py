"""What differs between two versions of a line: against edits made on purpose, and mir_eval's note matching."""

from __future__ import annotations

import mir_eval
import numpy as np
import pytest

from obbligato.music.difference import SAME_BEATS, line_difference, note_changes
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Note
from obbligato.units import midi_to_hz

GRID = Grid.steady(60.0, 2.0, Meter())
FLUTE = find_instrument("flute")
TRUMPET = find_instrument("trumpet")
LINE = tuple(Note(float(i), 0.9, 60 + (i * 7) % 12) for i in range(24))


def edited(**changes: Note | None) -> tuple[Note, ...]:
    """`LINE` with the note at each place (`n5=...`) put in its place or taken out."""
    notes = {f"n{i}": note for i, note in enumerate(LINE)} | changes
    return tuple(note for note in notes.values() if note is not None)


def test_the_same_line_has_no_changes() -> None:
    assert note_changes(LINE, LINE) == ()
    assert line_difference(LINE, LINE, GRID, FLUTE) == ()


@pytest.mark.parametrize(
    ("after", "kind", "before_index", "after_index"),
    [
        (edited(n5=None), "removed", 5, None),
        (edited(n5=Note(5.0, 0.9, 99)), "changed", 5, 5),
        (edited(n5=Note(5.25, 0.65, LINE[5].pitch)), "moved", 5, 5),
        (edited(n5=Note(5.0, 0.5, LINE[5].pitch)), "moved", 5, 5),
        (edited(n5=Note(5.0, 0.9, LINE[5].pitch, 120)), "changed", 5, 5),
        ((*LINE[:6], Note(5.95, 0.05, 72), *LINE[6:]), "added", None, 6),
    ],
)
def test_one_edit_is_found_as_what_it_was(
    after: tuple[Note, ...], kind: str, before_index: int | None, after_index: int | None
) -> None:
    changes = note_changes(LINE, after)
    assert [(c.kind, c.before, c.after) for c in changes] == [(kind, before_index, after_index)]


def test_less_than_anyone_hears_is_no_change() -> None:
    after = tuple(Note(n.onset_beat + 0.9 * SAME_BEATS, n.duration_beats, n.pitch, n.velocity + 3) for n in LINE)
    assert note_changes(LINE, after) == ()


def test_unchanged_notes_are_those_that_mir_eval_matches() -> None:
    """mir_eval.transcription.match_notes (Raffel et al., ISMIR 2014) pairs notes equal in onset and pitch."""
    rng = np.random.default_rng(8)
    after = []
    for note in LINE:
        draw = rng.random()
        if draw < 0.15:
            continue
        pitch = note.pitch + 3 if draw < 0.35 else note.pitch
        onset = note.onset_beat + 0.4 if 0.35 < draw < 0.5 else note.onset_beat
        after.append(Note(onset, 0.5, pitch))
    before = tuple(Note(n.onset_beat, 0.5, n.pitch) for n in LINE)

    def arrays(notes: list[Note] | tuple[Note, ...]) -> tuple[np.ndarray, np.ndarray]:
        return np.array([[n.onset_beat, n.end_beat] for n in notes]), midi_to_hz([n.pitch for n in notes])

    matched = mir_eval.transcription.match_notes(
        *arrays(before), *arrays(after), onset_tolerance=SAME_BEATS, offset_ratio=None
    )
    changed = {c.before for c in note_changes(before, after) if c.before is not None}
    assert {i for i in range(len(before)) if i not in changed} == {i for i, _ in matched}


def test_sentences_name_the_bar_and_the_written_note() -> None:
    after = edited(n5=Note(5.0, 0.9, LINE[5].pitch + 2), n12=None)
    (first, second) = line_difference(LINE, after, GRID, TRUMPET)
    # LINE[5] sounds B4 (71); a trumpet in B flat writes a tone higher (common practice): Db5 (C#5), and Eb5 after.
    assert (first.bar, first.sentence) == (2, "Bar 2: Db5 becomes Eb5.")
    assert second.bar == 4
    assert second.sentence.endswith("taken out.")


def test_a_new_line_is_told_bar_by_bar() -> None:
    bars = line_difference((), LINE, GRID, FLUTE)
    assert [bar.bar for bar in bars] == [1, 2, 3, 4, 5, 6]
    assert all("added" in bar.sentence for bar in bars)
