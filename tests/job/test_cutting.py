"""Cutting a take into its passes: each a take of its own, nothing of the sound changed."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

import played_job
import players
from obbligato.errors import InputError
from obbligato.job.cutting import cut_take
from obbligato.job.status import status
from obbligato.sound.audio import Audio


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Take 1 holds the first two phrases and then the whole line, take 2 the line once."""
    rng = np.random.default_rng(8)
    line = players.invent_line(rng, phrases=3)
    one, two = (players.play(line, players.Playing(timbre="reed"), rng) for _ in range(2))
    stop = round((line.notes[line.phrases[2].first_note].start_s - 0.3) * one.sr)
    both = Audio(np.concatenate([one.y[:, :stop], two.y], axis=1), one.sr)
    made = played_job.make_job(tmp_path_factory.mktemp("cut") / "job", line, [both, one])
    cut_take(made, 1)
    return made


def test_each_pass_is_a_take_and_the_long_one_is_left_out(folder):
    new = [take for take in folder.job.takes if take.cut_from == 1]
    assert [take.number for take in new] == [3, 4]
    assert folder.job.left_out == {1}
    assert new[0].from_frame == 0
    assert new[0].frames + new[1].frames == folder.job.takes[0].frames
    assert '"cut_from": 1' in folder.path("takes/take_04.json").read_text()
    assert next(s for s in status(folder).stages if s.stage == "takes").sentence.startswith("3 takes are in")


def test_the_frames_are_those_of_the_file(folder):
    whole, sr = soundfile.read(folder.path("takes/take_01.wav"), dtype="int32")
    pieces = [soundfile.read(folder.path(f"takes/take_0{n}.wav"), dtype="int32")[0] for n in (3, 4)]
    assert np.array_equal(np.concatenate(pieces), whole)
    infos = [soundfile.info(folder.path(f"takes/take_0{n}.wav")) for n in (1, 3)]
    assert [(i.format, i.subtype, i.samplerate) for i in infos] == [("WAV", infos[0].subtype, sr)] * 2


@pytest.mark.parametrize(("number", "match"), [(1, "cut before"), (2, "one pass"), (9, "no take 9")])
def test_what_cannot_be_cut_is_refused(folder, number, match):
    before = folder.job.model_dump_json()
    with pytest.raises(InputError, match=match):
        cut_take(folder, number)
    assert folder.job.model_dump_json() == before
