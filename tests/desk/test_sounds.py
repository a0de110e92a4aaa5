"""The sounds of a job as the server gives them, against the files they come from and the grid they are made on."""

import shutil

import mido
import numpy as np
import pytest
import soundfile

from obbligato.desk.errors import NotThere
from obbligato.desk.sounds import MOST_TAKES_KEPT, render_sound, sound_of, sounds_of
from obbligato.job.choosing import render
from obbligato.job.mapping import song_map
from obbligato.job.store import JobFolder
from obbligato.job.taking import add_takes
from obbligato.job.writing import add_line


def tune(path, *, bpm=100.0):
    """Sixteen quarter notes from bar 1 on."""
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(bpm))])
    for pitch in (60, 62, 64, 65) * 4:
        track += [
            mido.Message("note_on", note=pitch, velocity=90, time=0),
            mido.Message("note_off", note=pitch, time=480),
        ]
    mido.MidiFile(ticks_per_beat=480, tracks=[track]).save(path)
    return path


@pytest.fixture(scope="module")
def job_root(tmp_path_factory, guide_file):
    """A job that was listened to, with a line in it; a copy is made for every test."""
    from obbligato.job.intake import new_job
    from obbligato.job.model import Brief

    parent = tmp_path_factory.mktemp("sounds")
    folder = new_job(parent / "job", guide=guide_file, instrument="flugelhorn", brief=Brief(title="Night Ferry"))
    song_map(folder)
    add_line(folder, tune(parent / "line.mid"), start="bar-1")
    return parent / "job"


@pytest.fixture
def root(job_root, tmp_path):
    return shutil.copytree(job_root, tmp_path / "Night Ferry")


def names(folder):
    return [sound.name for sound in sounds_of(folder)]


def samples(root, name):
    render_sound(root=root, name=name)
    return soundfile.read(root / sound_of(JobFolder.open(root), name).file, always_2d=True)


def test_the_guide_is_played_from_its_own_copy_and_the_rest_has_its_length_and_rate(root):
    guide, sr = samples(root, "guide")
    assert np.array_equal(guide, soundfile.read(root / "guide/guide.wav", always_2d=True)[0])
    for name in ("click", "line"):
        y, rate = samples(root, name)
        assert (rate, len(y)) == (sr, len(guide))
        assert np.abs(y).max() > 0.01


def test_each_click_starts_on_its_beat_to_the_sample(root):
    click, sr = samples(root, "click")
    grid = song_map(JobFolder.open(root)).to_grid()
    loud = np.flatnonzero(np.abs(click[:, 0]) > 1e-6)
    starts = loud[np.diff(loud, prepend=-sr) > 0.2 * sr]
    beats = grid.sec_to_beat(starts / sr)
    # The first sample of a tone is 0, the second is not: a start is found one sample late, rounded by half of one.
    assert np.abs(grid.beat_to_sec(np.round(beats)) - starts / sr).max() <= 2.0 / sr
    assert len(starts) >= 20


def test_a_sound_is_rendered_once_and_anew_when_what_it_is_made_from_changes(root, tmp_path):
    folder = JobFolder.open(root)
    before = sound_of(folder, "line")
    assert not before.is_ready(folder)
    assert render_sound(root=root, name="line") == before.key
    stamp = folder.path(before.file).stat().st_mtime_ns
    assert render_sound(root=root, name="line") == before.key
    assert folder.path(before.file).stat().st_mtime_ns == stamp
    add_line(folder, tune(tmp_path / "other.mid", bpm=90.0), start="bar-1")
    after = sound_of(JobFolder.open(root), "line")
    assert after.key != before.key
    render_sound(root=root, name="line")
    assert after.is_ready(folder)
    assert not before.is_ready(folder)


def test_a_job_not_listened_to_has_only_its_guide(root):
    (root / "guide/findings.json").unlink()
    assert names(JobFolder.open(root)) == ["guide"]
    with pytest.raises(NotThere, match="listened"):
        sound_of(JobFolder.open(root), "click")


def test_takes_are_offered_once_placed_and_laid_on_the_guides_time(root, tmp_path):
    """A take that is the line's own sound, begun 0.7 s late at another rate: it must lie on the line again."""
    line, sr = samples(root, "line")
    late = round(0.7 * sr)
    soundfile.write(tmp_path / "take.wav", 0.5 * line[late:], sr, subtype="PCM_24")
    folder = JobFolder.open(root)
    add_takes(folder, (tmp_path / "take.wav",), starts_at_s=0.7)
    assert "take-1" not in names(JobFolder.open(root))
    render(folder)
    assert names(JobFolder.open(root)) == ["guide", "click", "line", "comp", "take-1"]
    take, rate = samples(root, "take-1")
    comp, _ = samples(root, "comp")
    assert rate == sr
    assert take.shape == line.shape == comp.shape
    # Steps of 24 bits, twice; the fade of 10 ms where the take begins.
    assert np.abs(take[late + sr // 50 :] - 0.5 * line[late + sr // 50 :]).max() <= 2.0 / 2**23
    assert not take[:late].any()


def test_the_cache_keeps_no_more_takes_than_a_dozen(root):
    cache = root / ".cache"
    cache.mkdir(exist_ok=True)
    for number in range(20):
        (cache / f"sound-take-{number}-0123456789ab.wav").write_bytes(b"old")
    render_sound(root=root, name="click")
    assert len(list(cache.glob("sound-take-*.wav"))) == MOST_TAKES_KEPT


def test_the_list_changes_nothing(root):
    folder = JobFolder.open(root)
    before = sorted(path for path in root.rglob("*") if path.is_file())
    first = sounds_of(folder)
    assert sounds_of(JobFolder.open(root)) == first
    assert sorted(path for path in root.rglob("*") if path.is_file()) == before


def test_over_http_a_sound_is_made_ready_and_fetched_in_parts(desk):
    address = "/api/jobs/NightFerry/sounds"
    status, listed = desk.call("GET", address)
    assert status == 200
    guide = listed[0]
    assert (guide["name"], guide["ready"]) == ("guide", True)
    whole = (desk.root / "NightFerry/guide/guide.wav").read_bytes()
    assert desk.call("GET", guide["url"]) == (200, whole)
    assert desk.call("GET", guide["url"], Range="bytes=100-299") == (206, whole[100:300])
    status, started = desk.call("POST", f"{address}/guide")
    assert status == 202
    assert started["task"]["job"] == "NightFerry"


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("guide?key=0", 404),
        ("guide", 422),
        ("click?key=0", 404),
        ("take-1?key=0", 404),
        ("take-01?key=0", 422),
        ("drums?key=0", 422),
        ("..%2Fjob.json?key=0", 404),
    ],
)
def test_over_http_what_is_not_there_is_refused_with_a_sentence(kept_desk, path, status):
    found, body = kept_desk.call("GET", f"/api/jobs/NightFerry/sounds/{path}")
    assert found == status
    assert body["error"]["message"].endswith(".")
