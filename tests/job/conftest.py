import json

import pytest

from obbligato.job.drafting import keep_draft
from obbligato.job.mapping import FINDINGS, LISTENER, song_map_to_json
from obbligato.job.model import Brief, GuideRef, Job
from obbligato.job.store import JOB_FILE, JobFolder, now
from obbligato.listen.songmap import GridFinding, MeterFinding, SongMap, Tempo, Tuning
from obbligato.music.grid import Grid, Meter
from obbligato.music.line import Note
from obbligato.music.spans import ChordSpan, KeySpan, Opening
from obbligato.sound.facts import SourceFacts

GRID = Grid.steady(120.0, 2.0, Meter())  # bars of 2 s, bar 1 at 2 s
END_S = 34.0
NOTES = (Note(0.0, 1.0, 67), Note(1.0, 1.0, 69), Note(4.0, 2.0, 72), Note(7.9, 1.0, 64))


def map_song(folder):
    """Put the song's map where listening would leave its own."""
    facts = SourceFacts(
        path="guide.wav", sha256="0" * 64, container="wav", codec="pcm", sample_rate=48000, channels=1, bit_depth=16,
        duration_s=END_S, frames=int(48000 * END_S), lead_silence_s=0.0, encoder_delay_samples=None,
        integrated_lufs=-14.0, true_peak_dbtp=-1.0, clipped_samples=0, warnings=(),
    )  # fmt: skip
    song = SongMap(
        source=facts,
        tempo=Tempo(120.0, True, 0.9, 5.0, 0.0, (), ()),
        meter=MeterFinding(4, "quarter", 0.9),
        count_in=None,
        grid=GridFinding(2.0, tuple(GRID.beat_to_sec(GRID.beats_in(0.0, END_S)).tolist()), ()),
        tuning=Tuning(440.0, 0.0),
        keys=(KeySpan(0.0, END_S, "C", "major", 0.9),),
        chords=(ChordSpan(2.0, 10.0, "C:maj"), ChordSpan(10.0, 18.0, "A:min7"), ChordSpan(18.0, END_S, "G:7")),
        sections=(),
        voice=(),
        openings=(Opening(8.0, 12.0, 4, 5, 8.0, "break"),),
    )
    stamp = {"guide_sha256": folder.job.guide.sha256, "listener": LISTENER}
    folder.path(FINDINGS).parent.mkdir(parents=True)
    folder.path(FINDINGS).write_text(json.dumps({**stamp, "findings": song_map_to_json(song)}))


@pytest.fixture
def folder(tmp_path):
    """A job folder with nothing in it but the job itself."""
    root = tmp_path / "job"
    root.mkdir()
    job = Job(
        created_at=now(),
        brief=Brief(title="Night Ferry"),
        instrument="Flugelhorn in Bb",
        guide=GuideRef(received="guide/received/a.wav", pcm="guide/guide.wav", sha256="0" * 64),
    )
    (root / JOB_FILE).write_text(job.model_dump_json())
    return JobFolder(root, job)


@pytest.fixture
def written(folder):
    """A job for flugelhorn with a made-up map in C major and a line of four notes."""
    map_song(folder)
    keep_draft(folder, NOTES)
    return folder
