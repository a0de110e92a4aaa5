"""How takes are to be joined, on the command line: understood, kept, or refused in one sentence."""

from __future__ import annotations

import json

import numpy as np
import pytest

import played_job
import players
from obbligato.sound.audio import Audio


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """Two takes that differ in level alone."""
    rng = np.random.default_rng(5)
    line = players.invent_line(rng, phrases=2)
    take = players.play(line, players.Playing(), rng)
    softer = Audio(0.9 * take.y, take.sr)
    return played_job.make_job(tmp_path_factory.mktemp("wishes") / "job", line, [take, softer]).root


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--joins", "some"), "--joins some: give fewest, balanced, best, or a number from 0 to 1."),
        (("--joins", "2"), "Joins of 2: give a number from 0 (fewest) to 1 (best)"),
        (("--gain", "1"), "--gain 1: give a take and decibels, as in: --gain 3=+1.5"),
        (("--gain", "1=nan"), "give a gain from -40 to 40 dB."),
        (("--base", "7"), "There is no take 7; the job has takes 1, 2."),
        (("--inside", "3"), "There is no phrase 3; the line has phrases 1 to 2."),
        (("--from", "nothing.txt"), "There is no file 'nothing.txt' that can be read; check the name."),
    ],
)
def test_what_cannot_be_understood_is_refused_in_one_sentence(obbligato, job, options, said):
    before = (job / "job.json").read_bytes()
    outcome = obbligato("choose", job, *options)
    assert outcome.returncode == 2
    assert said in " ".join(outcome.stderr.split())
    assert (job / "job.json").read_bytes() == before


def test_wishes_are_kept_and_a_changed_list_is_followed(obbligato, job):
    outcome = obbligato("choose", job, "--joins", "fewest", "--base", "2", "--gain", "2=+1.5dB", "--json")
    assert outcome.returncode == 0, outcome.stderr
    found = json.loads(outcome.stdout)
    assert [c["take"] for c in found["choice"]] == ["takes/take_02.wav"] * 2
    assert found["gains_db"] == {"takes/take_02.wav": 1.5}
    text = (job / found["folder"] / "choice.txt").read_text()
    changed = job.parent / "changed.txt"
    changed.write_text(
        "\n".join(row.replace("take 2", "take 1").replace("+1.5 dB", "0 dB") for row in text.splitlines())
    )
    found = json.loads(obbligato("choose", job, "--from", changed, "--json").stdout)
    assert [c["take"] for c in found["choice"]] == ["takes/take_01.wav"] * 2
    assert json.loads((job / "job.json").read_text())["overrides"] == {"1": 1, "2": 1}
    found = json.loads(obbligato("choose", job, "--clear", "--json").stdout)
    assert json.loads((job / "job.json").read_text())["overrides"] == {}
    assert found["gains_db"] == {}
