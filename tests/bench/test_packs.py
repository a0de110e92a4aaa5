"""Packs with one fault each are refused with the sentence that names it; other songs than the benchmark prints."""

from dataclasses import replace

import numpy as np
import pytest

import packs
from obbligato.job.packing import Source
from obbligato.job.profiles import Profile
from obbligato.job.proof import prove_pack
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seed", "fault"), list(enumerate(packs.FAULTS, 500)), ids=[fault.name for fault in packs.FAULTS]
)
def test_a_spoilt_pack_is_refused_by_name(seed, fault, tmp_path):
    assert any(fault.said in check.sentence for check in packs.spoilt(fault, seed, tmp_path))


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "profile"), list(enumerate(packs.PROFILES, 700)))
def test_a_sound_pack_passes(seed, profile, tmp_path):
    plan = packs.song(seed, profile, layers=1)
    packs.write(plan, tmp_path)
    assert [check.sentence for check in prove_pack(tmp_path, plan) if not check.ok] == []


def test_a_stereo_stem_that_became_mono_in_two_channels_is_refused(tmp_path):
    plan = packs.song(900, Profile())
    one = plan.sources[0].audio
    two = Audio(np.concatenate([one.y, 0.7 * np.roll(one.y, 20, axis=1)]), one.sr)
    plan = replace(plan, sources=(Source("", "the part, dry", two), *plan.sources[1:]))
    packs.write(plan, tmp_path)
    assert all(check.ok for check in prove_pack(tmp_path, plan))
    path = tmp_path / plan.files[0].name
    path.unlink()
    mono = Audio(np.repeat(read_audio(tmp_path / plan.files[1].name).y[:1], 2, axis=0), one.sr)
    packs._again(tmp_path, plan.files[0], mono, bext=plan.files[0].bext)
    packs.sums(tmp_path)
    said = [check.sentence for check in prove_pack(tmp_path, plan) if not check.ok]
    assert "File 01 is mono in two channels." in said
