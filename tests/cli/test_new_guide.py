"""`map --guide` and `map --tap` as they are typed."""

import json

import numpy as np
import pytest
import soundfile

from obbligato.job.intake import new_job
from obbligato.job.model import Brief
from obbligato.job.store import JobFolder

SR = 22050


@pytest.fixture
def things(tmp_path):
    """A job whose map is given by hand, and a second guide, 777 samples later and half as loud."""
    y = np.random.default_rng(4).standard_normal(8 * SR) * 0.2 * np.exp(-(np.arange(8 * SR) % (SR // 2)) / 3000.0)
    soundfile.write(tmp_path / "one.wav", y, SR, subtype="PCM_24")
    soundfile.write(tmp_path / "two.wav", 0.5 * np.pad(y, (777, 0)), SR, subtype="PCM_24")
    new_job(tmp_path / "job", guide=tmp_path / "one.wav", instrument="cello", brief=Brief(title="One"))
    return tmp_path


def test_a_new_guide_is_reported_and_then_taken_over(obbligato, things):
    job = things / "job"
    told = obbligato("map", job, "--guide", things / "two.wav", "--json")
    assert told.returncode == 0, told.stderr
    report = json.loads(told.stdout)
    assert {s["moved_samples"] for s in report["difference"]["stretches"]} == {777.0}
    assert report["taken_over"] is None
    assert JobFolder.open(job).job.guide.given_as == "one.wav"
    words = obbligato("map", job, "--guide", things / "two.wav", "--take-over").stdout
    assert "777 samples" in words
    # Half the amplitude is 6.02 dB, by definition.
    assert "6.0 dB softer" in words
    assert JobFolder.open(job).job.guide.given_as == "two.wav"


def test_taps_come_from_a_file(obbligato, things):
    taps = things / "taps.txt"
    taps.write_text("\n".join(f"{0.5 * i:.2f}" for i in range(8)))
    done = obbligato("map", things / "job", "--tap", taps, "--json")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["corrections"]["tapped_s"] == [0.5 * i for i in range(8)]
    # A tap every half second is 120 a minute.
    assert document["tempo"]["bpm"] == pytest.approx(120.0, abs=0.5)


@pytest.mark.parametrize(
    "arguments",
    [("--take-over",), ("--tap", "none.txt"), ("--tap", "-", "--taps", "1 2 3 4"), ("--guide", "none.wav")],
)
def test_what_cannot_be_done_is_refused_in_a_sentence(obbligato, things, arguments):
    refused = obbligato("map", things / "job", *arguments)
    assert refused.returncode == 2
    assert refused.stderr.strip()
    assert "Traceback" not in refused.stderr
