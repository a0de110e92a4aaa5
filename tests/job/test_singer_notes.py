"""The singer's notes out of a vocal stem whose tune is known."""

import json

import numpy as np
import pytest
import soundfile

from obbligato.job.checking import check
from obbligato.job.opening_help import help_for
from obbligato.job.singer_notes import NOT_KNOWN, singer_notes
from obbligato.job.writing import instrument_of
from obbligato.music.spans import Opening

SR = 22050
TUNE = ((0.5, 60), (1.3, 64), (2.1, 67), (3.4, 65))
NOTE_S = 0.6


def sung(pitches):
    """Each note a harmonic tone with some vibrato, as a voice has."""
    y = np.zeros(int(5 * SR), np.float32)
    for start_s, pitch in pitches:
        t = np.arange(int(NOTE_S * SR)) / SR
        f0 = 440.0 * 2 ** ((pitch - 69 + 0.2 * np.sin(2 * np.pi * 5.5 * t)) / 12)
        phase = 2 * np.pi * np.cumsum(f0) / SR
        tone = sum(np.sin(k * phase) / k**1.5 for k in range(1, 8))
        y[int(start_s * SR) :][: t.size] += (0.2 * tone * np.hanning(t.size) ** 0.3).astype(np.float32)
    return y


@pytest.fixture
def with_stem(written, monkeypatch):
    """The made-up job with a vocal stem in it."""
    path = written.path("guide/received/vocal.wav")
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, sung(TUNE), SR)
    guide = written.job.guide.model_copy(update={"vocal": "guide/received/vocal.wav"})
    written.job = written.job.model_copy(update={"guide": guide})
    return written


def test_notes_of_a_stem_are_heard_at_their_pitch_and_time_and_kept(with_stem):
    assert singer_notes(with_stem, measure=False) is None
    notes = singer_notes(with_stem)
    assert [note.pitch for note in notes] == [pitch for _, pitch in TUNE]
    # A frame of the tracker is 16 ms, and the tone swells for some 20 ms.
    assert [note.start_s for note in notes] == pytest.approx([start for start, _ in TUNE], abs=0.06)
    assert singer_notes(with_stem, measure=False) == notes


def test_the_last_notes_before_an_opening_are_given_in_written_pitch(with_stem):
    from obbligato.job.drafting import mapped_song

    opening = Opening(3.0, 6.0, 1, 3, 6.0, "fill")
    song = mapped_song(with_stem)
    song = type(song)(**{**vars(song), "openings": (opening,)})
    (told,) = help_for(song, instrument_of(with_stem), singer_notes(with_stem))
    # Sounding C4, E4, G4 stand a tone higher for a Bb instrument.
    assert told.sung_before == ("D4", "F#4", "A4")
    (unknown,) = help_for(song, instrument_of(with_stem))
    assert unknown.sung_before is None


def test_without_a_stem_it_is_said_and_not_guessed(written):
    findings = written.path("guide/findings.json")
    kept = json.loads(findings.read_text())
    kept["findings"]["voice"] = [{"start_s": 4.0, "end_s": 6.0}]
    findings.write_text(json.dumps(kept))
    assert singer_notes(written) is None
    assert check(written)[-1].sentence == NOT_KNOWN
