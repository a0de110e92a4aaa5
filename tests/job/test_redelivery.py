"""A second round: two bars put into the guide and one phrase played anew; only that is sent, and told by bar."""

import json

import numpy as np
import pytest

import played_job
import players
from obbligato.job.delivery import deliver, prove_again
from obbligato.job.mapping import FINDINGS, LISTENER, song_map_to_json
from obbligato.job.new_guide import compare_guide
from obbligato.job.store import JobFolder
from obbligato.job.taking import add_takes, leave_out
from obbligato.job.taking_over import take_over_guide
from obbligato.job.wishes import set_overrides
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio, write_wav

BAR_S = 4 * 60.0 / played_job.BPM
PUT_IN = 2

pytestmark = pytest.mark.slow


def put_in(audio, at_s, piece):
    at = round(at_s * audio.sr)
    return Audio(np.concatenate([audio.y[:, :at], piece.astype(np.float32), audio.y[:, at:]], axis=1), audio.sr)


def test_two_bars_put_in_and_a_phrase_played_anew(tmp_path):
    rng = np.random.default_rng(44)
    line = players.invent_line(rng, phrases=3)
    take = players.play(line, players.Playing(), rng)
    job = played_job.make_job(tmp_path / "job", line, [])
    write_wav(tmp_path / "one.wav", take)
    add_takes(job, (tmp_path / "one.wav",), starts_at_s=0.0)
    first = deliver(job)

    # The bar line after the first phrase's last note: there the client puts two bars in.
    last_s = line.notes[line.phrases[0].last_note].end_s
    bar = int(np.ceil((last_s - played_job.BAR_1_S) / BAR_S)) + 1
    at_s = played_job.BAR_1_S + (bar - 1) * BAR_S
    assert at_s < line.notes[line.phrases[1].first_note].start_s
    guide = read_audio(job.path(job.job.guide.pcm))
    n = round(PUT_IN * BAR_S * guide.sr)
    longer = put_in(guide, at_s, 1e-3 * rng.standard_normal((1, n)))
    write_wav(tmp_path / "second.wav", longer)
    report = compare_guide(job, tmp_path / "second.wav")
    take_over_guide(job, report.sha256)
    song = played_job._song(longer, report.sha256)
    stamp = {"guide_sha256": report.sha256, "listener": LISTENER}
    job.path(FINDINGS).write_text(json.dumps({**stamp, "findings": song_map_to_json(song)}))
    (stale,) = [check.sentence for check in prove_again(job)[1] if not check.ok]
    assert "was made for another guide" in stale

    # The first recording laid out on the new guide, and the last phrase played again.
    moved = put_in(take, at_s, np.zeros((1, round(PUT_IN * BAR_S * take.sr))))
    anew = put_in(
        players.play(line, players.Playing(), np.random.default_rng(45)),
        at_s,
        np.zeros((1, moved.n_samples - take.n_samples)),
    )
    for name, sound in (("two.wav", moved), ("three.wav", anew)):
        write_wav(tmp_path / name, sound)
        add_takes(job, (tmp_path / name,), starts_at_s=0.0)
    leave_out(job, [1])
    set_overrides(job, {1: 2, 2: 2, 3: 3})
    second = deliver(JobFolder.open(job.root), only_changed=True)

    assert all("_v2" in name for name in second.files if name != "checksums.txt")
    assert "which replaces the one before" in second.changes[0]
    dry = next(words for words in second.changes if words.startswith("File 01"))
    old_bar = int((line.notes[line.phrases[1].first_note].start_s - played_job.BAR_1_S) / BAR_S) + 1
    new_bar = int((line.notes[line.phrases[2].first_note].start_s - played_job.BAR_1_S) / BAR_S) + 1 + PUT_IN
    before, _, rest = dry.partition(" as before, 4.800 s, 2 bars later")
    assert rest and str(old_bar + PUT_IN) in before
    assert str(new_bar) in dry.partition(" new")[0]
    assert dry.endswith("all else as before, in its place.")
    assert first.audio[0].name in dry
