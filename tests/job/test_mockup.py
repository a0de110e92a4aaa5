"""The mock-up of a job: what lies in its folder, read by libsndfile."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

import played_job
import players
from obbligato.job.mapping import song_map
from obbligato.job.mockup import make_mockup


def test_each_section_in_which_the_line_plays_lies_there_alone(tmp_path):
    line = players.invent_line(np.random.default_rng(5), phrases=2)
    folder = played_job.make_job(tmp_path / "job", line, [])
    made = make_mockup(folder)
    (section,) = song_map(folder).sections
    whole, sr = soundfile.read(folder.path(made.folder) / "blend.wav")
    alone, alone_sr = soundfile.read(folder.path(made.folder) / f"section_01_{section.label}.mp3")
    assert alone_sr == sr
    assert len(alone) / sr == pytest.approx(min(section.end_s, len(whole) / sr) - section.start_s, abs=0.03)
    first = round(section.start_s * sr)
    part = whole[first : first + len(alone)]
    n = min(len(part), len(alone))
    alike = np.corrcoef(part[:n].ravel(), alone[:n].ravel())[0, 1]
    assert alike > 0.9  # the guide is white noise, which MP3 thins out
