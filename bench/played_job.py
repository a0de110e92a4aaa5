"""An invented job with a line and takes in it, made in a moment: its map is stated, not listened for."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from obbligato.job.mapping import FINDINGS, LISTENER, song_map_to_json
from obbligato.job.model import Brief, GuideRef, Job
from obbligato.job.store import JOB_FILE, JobFolder, now
from obbligato.job.taking import add_takes
from obbligato.job.writing import add_line
from obbligato.listen.songmap import GridFinding, MeterFinding, SongMap, Tempo, Tuning
from obbligato.music.grid import Grid, Meter
from obbligato.music.line import Line, Note
from obbligato.music.midi_writing import write_midi
from obbligato.music.phrases import find_phrases
from obbligato.music.spans import SectionSpan
from obbligato.sound.audio import Audio
from obbligato.sound.facts import SourceFacts
from obbligato.sound.files import sha256_of, write_wav
from obbligato.takes.readings import TimedLine

BPM, BAR_1_S, SR = 100.0, 2.0, 48000


def make_job(
    root: Path, line: TimedLine, takes: Sequence[Audio], *, instrument: str = "Flugelhorn in Bb"
) -> JobFolder:
    """A job on a quiet guide at 100 a minute with bar 1 at 2 s, the line, and the takes, none of them read yet."""
    duration_s = line.notes[-1].end_s + 3.0
    received = root / "guide/received/guide.wav"
    received.parent.mkdir(parents=True)
    noise = 1e-3 * np.random.default_rng(0).normal(size=(1, round(duration_s * SR)))
    guide = Audio(noise.astype(np.float32), SR)
    for path in (received, root / "guide/guide.wav"):
        write_wav(path, guide)
    sha256 = sha256_of(received)
    job = Job(
        created_at=now(),
        brief=Brief(title="Slow Weir"),
        instrument="Flugelhorn in Bb",
        guide=GuideRef(received="guide/received/guide.wav", pcm="guide/guide.wav", sha256=sha256),
    )
    (root / JOB_FILE).write_text(job.model_dump_json())
    stamp = {"guide_sha256": sha256, "listener": LISTENER}
    found = {**stamp, "findings": song_map_to_json(_song(guide, sha256))}
    (root / FINDINGS).write_text(json.dumps(found))
    folder = JobFolder.open(root)
    _write_line(root / "line.mid", line)
    add_line(folder, root / "line.mid", start="guide")
    files = []
    for number, take in enumerate(takes, 1):
        files.append(root / f"take {number}.wav")
        write_wav(files[-1], take)
    if files:
        add_takes(folder, tuple(files))
    return folder


def _write_line(path: Path, line: TimedLine) -> None:
    grid = Grid.steady(BPM, BAR_1_S, Meter())
    notes = tuple(
        Note(
            float(grid.sec_to_beat(note.start_s)),
            float(grid.sec_to_beat(note.end_s) - grid.sec_to_beat(note.start_s)),
            note.midi,
        )
        for note in line.notes
    )
    write_midi(path, Line(notes, find_phrases(notes, grid)), grid, title="Slow Weir", program=57)


def _song(guide: Audio, sha256: str) -> SongMap:
    facts: dict[str, Any] = {
        "container": "WAV",
        "codec": "PCM_24",
        "bit_depth": 24,
        "lead_silence_s": 0.0,
        "encoder_delay_samples": None,
        "integrated_lufs": -60.0,
        "true_peak_dbtp": -50.0,
        "clipped_samples": 0,
        "warnings": (),
    }
    beats = tuple(float(b) for b in np.arange(BAR_1_S, guide.duration_s, 60.0 / BPM))
    return SongMap(
        source=SourceFacts(
            path="guide/received/guide.wav",
            sha256=sha256,
            sample_rate=guide.sr,
            channels=guide.channels,
            duration_s=guide.duration_s,
            frames=guide.n_samples,
            **facts,
        ),
        tempo=Tempo(BPM, True, 0.95, 0.0, 0.0, (), ()),
        meter=MeterFinding(4, "quarter", 0.95),
        count_in=None,
        grid=GridFinding(BAR_1_S, beats, beats[::4]),
        tuning=Tuning(440.0, 0.0),
        keys=(),
        chords=(),
        sections=(SectionSpan(BAR_1_S, guide.duration_s, "A"),),
        voice=(),
        openings=(),
    )
