"""How well pages are made: valid MusicXML, the same sounding pitches in two readers, and the time it takes.

Songs and lines are invented (bench/page_songs.py). The MusicXML of each part and of each concert score is validated
by the schema of MusicXML 4.0 and read by music21 and by partitura; sounding pitches are to be those of the line. The
time is that of the whole command `part` for a song of six minutes, in a process of its own.
Run it as: python bench/page.py [--parts 200]
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
import warnings
from datetime import date
from importlib.util import find_spec
from pathlib import Path
from xml.etree import ElementTree as ET

import music21
import numpy as np
import partitura
import xmlschema

from obbligato.music.midi import midi_bytes
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part import part_layout
from obbligato.page.part_make import make_part
from obbligato.page.part_pages import SIDES
from obbligato.page.part_print import PRINTS
from obbligato.page.part_score import Heading
from page_songs import Case, make_case

HEADING = Heading("Bench", 1, "fedcba9876543210" * 4, date(2026, 11, 27), "Jo Quill")
SIX_MINUTES_S = 360.0


def schema() -> xmlschema.XMLSchema:
    """MusicXML 4.0 as the package `musicxml` carries it."""
    folder = Path(find_spec("musicxml").origin).parent
    return xmlschema.XMLSchema(folder / "generate_classes" / "musicxml_4_0.xsd", allow="local", validation="lax")


def by_music21(text: str) -> list[int]:
    """Sounding pitches, each tied note once."""
    part = music21.converter.parseData(text, format="musicxml").parts[0]
    notes = [n for n in part.toSoundingPitch().flatten().notes if n.isNote]
    return [n.pitch.midi for n in notes if n.tie is None or n.tie.type == "start"]


def by_partitura(file: Path) -> list[int]:
    """Sounding pitches, each tied note once; partitura gives written ones beside the transposition it has read."""
    with contextlib.redirect_stdout(sys.stderr), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        part = partitura.load_musicxml(file)[0]
    up = next((move.chromatic for move in part.iter_all(partitura.score.Transposition)), 0)
    return [note.midi_pitch + up for note in part.notes_tied]


def written_octaves(text: str) -> int:
    """The `<octave-change>` of a document, which partitura leaves out."""
    found = ET.fromstring(text).find("part/measure/attributes/transpose/octave-change")
    return 0 if found is None else int(found.text or 0)


def read_parts(count: int) -> bool:
    """The table of what readers make of the parts; whether all marks are met."""
    rules = schema()
    tally = dict.fromkeys(
        ("parts", "notes", "schema errors", "music21 differs", "partitura differs", "turns", "turns without time"), 0
    )
    seen: set[str] = set()
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "part.musicxml"
        for seed in range(count):
            case = make_case(seed)
            seen |= {case.instrument.name, f"metre {case.song.to_grid().meter}"}
            for concert in (False, True):
                part = make_part(case.line, case.song, case.instrument, HEADING, concert=concert)
                text = part_musicxml(part)
                file.write_text(text, encoding="utf-8")
                played = [note.pitch for note in case.line.notes]
                octaves = 12 * written_octaves(text)
                faults = {
                    "schema errors": len(list(rules.iter_errors(ET.fromstring(text)))),
                    "music21 differs": by_music21(text) != played,
                    "partitura differs": [pitch + octaves for pitch in by_partitura(file)] != played,
                }
                for kind, number in faults.items():
                    tally[kind] += number
                    if number:
                        print(f"  {case.name}, {'score' if concert else 'part'}: {kind}", file=sys.stderr)
                tally["parts"] += 1
                tally["notes"] += len(played)
            if seed % 8 == 0:
                look_at_turns(case, tally)
    for kind, number in tally.items():
        print(f"{kind:24}{number:8}")
    print(f"instruments {sum(not name.startswith('metre') for name in seen)}, "
          f"{', '.join(sorted(name for name in seen if name.startswith('metre')))}")  # fmt: skip
    return not (tally["schema errors"] or tally["music21 differs"] or tally["partitura differs"])


def look_at_turns(case: Case, tally: dict[str, int]) -> None:
    """Count page turns in the prints that may need some, and those without three seconds of rest."""
    part = make_part(case.line, case.song, case.instrument, HEADING)
    for how in PRINTS.values():
        layout = part_layout(part, paper="a4", how=how)
        assert len(layout.turns) == (len(layout.sides) - 1) // SIDES
        tally["turns"] += len(layout.turns)
        tally["turns without time"] += sum(not turn.good for turn in layout.turns)


def six_minute_job(folder: Path) -> Path:
    """A job whose song of six minutes needs no listening: a click track, its tempo stated by hand."""
    import soundfile

    bpm, sr = 96.0, 48_000
    bars = round(SIX_MINUTES_S * bpm / 60.0 / 4.0)
    case = make_case(1, bars=bars, signature="4/4", tempo="steady")
    y = np.zeros(round((bars + 1) * 4 * 60.0 / bpm * sr), dtype=np.float32)
    click = 0.3 * np.sin(2 * np.pi * 1000.0 * np.arange(sr // 50) / sr)
    for beat in range(bars * 4):
        at = round(beat * 60.0 / bpm * sr)
        y[at : at + click.size] = click * (1.5 if beat % 4 == 0 else 1.0)
    soundfile.write(folder / "guide.wav", y, sr, subtype="PCM_24")
    job = folder / "job"
    command(
        "new", job, "--guide", folder / "guide.wav", "--instrument", case.instrument.name, "--title", "Six minutes"
    )
    command("map", job, "--bpm", bpm, "--bar-1", "0:00", "--meter", "4/4")
    (folder / "line.mid").write_bytes(
        midi_bytes(case.line, case.song.to_grid(), title="Six minutes", program=case.instrument.gm_program)
    )
    command("line", job, folder / "line.mid", "--start", "guide")
    return job


def command(*words: object) -> None:
    """One command of the program in a process of its own."""
    full = [sys.executable, "-m", "obbligato", *map(str, words)]
    done = subprocess.run(
        full, capture_output=True, text=True, env={**os.environ, "OMP_NUM_THREADS": "1"}, check=False
    )
    if done.returncode:
        raise SystemExit(f"{' '.join(full)}\n{done.stderr}")


def timed(*words: object) -> tuple[float, float]:
    """Wall-clock and processor seconds of a command, the best of three."""
    best = (np.inf, np.inf)
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        start = time.perf_counter()
        command(*words)
        wall_s = time.perf_counter() - start
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        best = min(best, (wall_s, cpu_s))
    return best


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--parts", type=int, default=200)
    options = parser.parse_args()
    good = read_parts(options.parts)
    with tempfile.TemporaryDirectory() as name:
        job = six_minute_job(Path(name))
        bars = len(json.loads((made_by(job) / "follow.json").read_text())["bars"])
        start_s = timed("status", job)
        print(f"\n{'a song of six minutes':32}{'wall s':>8}{'cpu s':>8}   ({bars} bars)")
        for label, words in (
            ("part", ("part", job)),
            ("part --print low-vision", ("part", job, "--print", "low-vision")),
        ):
            wall_s, cpu_s = timed(*words)
            print(f"{label:32}{wall_s:8.2f}{cpu_s:8.2f}")
        print(f"{'status (starting the program)':32}{start_s[0]:8.2f}{start_s[1]:8.2f}")
    raise SystemExit(0 if good else 1)


def made_by(job: Path) -> Path:
    """The folder of a part made now."""
    command("part", job)
    return max((job / "part").iterdir(), key=lambda folder: folder.stat().st_mtime)


if __name__ == "__main__":
    main()
