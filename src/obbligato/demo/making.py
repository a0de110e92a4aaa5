"""All files of the invented song, written into one folder, with what is true of them beside them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from obbligato.demo.guide import render_guide
from obbligato.demo.plans import TAKES
from obbligato.demo.player import IntendedNote, line_midi, loosely_played
from obbligato.demo.playing import Take, TakePlan, record_take, take_truth
from obbligato.demo.score import SONG
from obbligato.demo.song import Song
from obbligato.demo.truth import song_truth
from obbligato.errors import InputError
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.atomic import write_bytes_at_once
from obbligato.sound.files import mp3_bytes, write_wav
from obbligato.sound.mp3 import DECODER_DELAY, USUAL_ENCODER_DELAY, mp3_tag, parse_header

DEFAULT_SEED = 1
_LINE_STREAM, _TAKE_STREAM = 100, 200
"""Numbers that keep the random streams of the line and of the takes apart from those of the guide."""


@dataclass(frozen=True)
class DemoSong:
    """Where the files of an invented song are, and what is true of them (see docs/demo.md)."""

    guide_wav: Path
    guide_mp3: Path
    guide_mp3_untagged: Path
    line_mid: Path
    takes: tuple[Path, ...]
    truth_json: Path
    truth: dict[str, Any]

    @property
    def paths(self) -> tuple[Path, ...]:
        """All files, the truth last."""
        guides = (self.guide_wav, self.guide_mp3, self.guide_mp3_untagged)
        return (*guides, self.line_mid, *self.takes, self.truth_json)


def make_song(
    folder: Path,
    *,
    seed: int = DEFAULT_SEED,
    song: Song = SONG,
    plans: Sequence[TakePlan] = TAKES,
    progress: Progress = silent,
) -> DemoSong:
    """Render a song, its line and its takes, and write everything into `folder`.

    The same song, plans and `seed` give the same bytes with the same versions of the libraries.

    Raises
    ------
    InputError
        When the folder cannot be made or written, or already holds one of the files.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"The folder '{folder}' cannot be made ({error.strerror}); choose another place.") from error
    made = _names(folder, plans)
    for path in made.paths:
        if path.exists():
            raise InputError(f"'{path}' is already there and is not overwritten; choose an empty folder.")
    notes = loosely_played(song, rng=np.random.default_rng([seed, _LINE_STREAM]))
    write_bytes_at_once(made.line_mid, line_midi(song, notes))
    with ThreadPoolExecutor(max_workers=1) as pool:
        recorded = [pool.submit(record_numbered_take, song, plans, i, seed=seed) for i in range(len(plans))]
        guide = render_guide(song, seed=seed, progress=part_of(progress, 0.0, 0.5))
        write_wav(made.guide_wav, guide.audio)
        progress(0.55, "encoding the guide")
        tagged = mp3_bytes(guide.audio)
        progress(0.8, "playing the takes")
        takes = tuple(take.result() for take in recorded)
    write_bytes_at_once(made.guide_mp3, tagged)
    write_bytes_at_once(made.guide_mp3_untagged, without_delay_tag(tagged))
    for path, take in zip(made.takes, takes, strict=True):
        write_wav(path, take.audio)
    truth = {
        **song_truth(song, guide.voice),
        "seed": seed,
        "files": _files(made),
        "mp3_untagged_late_samples": USUAL_ENCODER_DELAY + DECODER_DELAY,
        "line": line_truth(song, notes),
        "takes": [
            {"path": path.name, **take_truth(take, song)} for path, take in zip(made.takes, takes, strict=True)
        ],
        "clean_takes": clean_takes(song, takes),
    }
    write_bytes_at_once(made.truth_json, (json.dumps(truth, indent=1) + "\n").encode())
    progress(1.0, "the invented song is ready")
    return replace(made, truth=truth)


def record_numbered_take(song: Song, plans: Sequence[TakePlan], number: int, *, seed: int) -> Take:
    """Play one of the takes; each has a random stream of its own, so the order of playing does not matter."""
    return record_take(song, plans[number], rng=np.random.default_rng([seed, _TAKE_STREAM + number]))


def without_delay_tag(tagged: bytes) -> bytes:
    """An MP3 file's content without its first frame, the one that declares the encoder's delay."""
    tag = mp3_tag(tagged)
    if tag is None:
        return tagged
    header = parse_header(tagged[tag.start : tag.start + 4])
    return tagged if header is None else tagged[tag.start + header.n_bytes :]


def line_truth(song: Song, notes: Sequence[IntendedNote]) -> dict[str, Any]:
    """The notes of the MIDI file on the guide's time, and the phrases they were written in."""
    phrases: list[dict[str, int]] = []
    first = 0
    for index, phrase in enumerate(song.phrases):
        phrases.append({"index": index, "first_note": first, "last_note": first + len(phrase) - 1})
        first += len(phrase)
    return {
        "notes": [
            {
                "index": n.index,
                "start_s": n.start_s,
                "end_s": n.end_s,
                "midi": n.pitch,
                "velocity": n.velocity,
                "score_beat": score.onset_beat,
                "score_beats": score.duration_beats,
            }
            for n, score in zip(notes, (s for p in song.phrases for s in p), strict=True)
        ],
        "phrases": phrases,
    }


def clean_takes(song: Song, takes: Sequence[Take]) -> list[list[str]]:
    """For each phrase the names of the takes in which nothing was planted in it."""
    clean = {take.plan.name: take_truth(take, song)["clean_phrases"] for take in takes}
    return [[name for name, phrases in clean.items() if phrase in phrases] for phrase in range(len(song.phrases))]


def _names(folder: Path, plans: Sequence[TakePlan]) -> DemoSong:
    return DemoSong(
        guide_wav=folder / "guide.wav",
        guide_mp3=folder / "guide.mp3",
        guide_mp3_untagged=folder / "guide-without-delay-tag.mp3",
        line_mid=folder / "line.mid",
        takes=tuple(folder / f"{plan.name}.wav" for plan in plans),
        truth_json=folder / "truth.json",
        truth={},
    )


def _files(made: DemoSong) -> dict[str, Any]:
    return {
        "guide_wav": made.guide_wav.name,
        "guide_mp3": made.guide_mp3.name,
        "guide_mp3_untagged": made.guide_mp3_untagged.name,
        "line_mid": made.line_mid.name,
        "takes": [path.name for path in made.takes],
    }
