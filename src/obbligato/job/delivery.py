"""The delivery: written, opened again from disk, proved, and only then called done."""

from __future__ import annotations

import itertools
import json
import os
import shutil
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pydantic import TypeAdapter, ValidationError

from obbligato.errors import NotRightError
from obbligato.job.approval import unapproved_sections
from obbligato.job.choosing import FLOAT_DEPTH, INTEGER_DEPTH, Comp, choose, lossless_depth
from obbligato.job.intake import guide_audio
from obbligato.job.keys import choice_key
from obbligato.job.mapping import song_map
from obbligato.job.model import Made
from obbligato.job.names import pack_name, rate_and_depth
from obbligato.job.note import NoteFacts, note_pdf, note_text
from obbligato.job.paper import MUSICXML, PDFS, current_part
from obbligato.job.proof import (
    AudioFacts,
    Check,
    audio_facts,
    prove_checksums,
    prove_line,
    prove_mix,
    prove_names,
    prove_stem,
)
from obbligato.job.store import JobFolder, now
from obbligato.job.writing import current_line, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.music.midi import write_midi
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.sound.dynamics import compress
from obbligato.sound.files import sha256_of, write_wav
from obbligato.sound.loudness import measure_loudness
from obbligato.sound.peaks import true_peak_dbtp
from obbligato.sound.room import small_room
from obbligato.sound.shape import highpass
from obbligato.sound.wav import BextInfo
from obbligato.units import amplitude_to_db, db_to_amplitude

CHECKSUMS = "checksums.txt"
PROOF = ".proof.json"
"""Added to a pack's folder name: what was proved of it, kept beside it and not sent."""
MIX_CEILING_DBFS = -1.0


@dataclass(frozen=True)
class Pack:
    """A delivery: its folder and zip inside the job, its files, and what was proved about them."""

    folder: str
    zip: str
    version: int
    files: tuple[str, ...]
    audio: tuple[AudioFacts, ...]
    checks: tuple[Check, ...]


_PACK = TypeAdapter(Pack)


def deliver(
    folder: JobFolder, *, treated: bool = False, without_yes: bool = False, progress: Progress = silent
) -> Pack:
    """Write the pack and prove it.

    Raises
    ------
    NotRightError
        When the client has not said yes to what is played, or a written file is not what it should be; then no
        pack is left behind.
    """
    folder.require_writable()
    song = song_map(folder)
    _require_approval(folder, song, without_yes)
    comp = choose(folder, progress=part_of(progress, 0.0, 0.5))
    version = sum(made.stage == "deliver" for made in folder.job.made) + 1
    name = f"delivery_{version:02d}"
    with folder.new_folder("delivery", name) as (building, target):
        progress(0.55, "writing the pack")
        pack = _fill(folder, building, comp, song, version=version, treated=treated, target=target, progress=progress)
    try:
        _write_zip(folder.path(target), folder.path(pack.zip))
        keep_proof(folder, pack)
    except BaseException:
        shutil.rmtree(folder.path(target))
        folder.path(pack.zip).unlink(missing_ok=True)
        raise
    made = folder.made("deliver", target, from_key=choice_key(folder))
    folder.save("deliver", f"delivery {version} written and proved", made=made)
    progress(1.0, "proved")
    return pack


def keep_proof(folder: JobFolder, pack: Pack) -> None:
    """Keep what was proved of a pack beside it."""
    text = json.dumps(_PACK.dump_python(pack, mode="json"), indent=2)
    folder.add_file(f"{pack.folder}{PROOF}", text.encode())


def proved_pack(folder: JobFolder, made: Made) -> Pack | None:
    """What was proved when a pack was made; None for one whose proof was not kept or cannot be read."""
    path = folder.path(f"{made.folder}{PROOF}")
    try:
        return _PACK.validate_json(path.read_bytes())
    except (OSError, ValidationError):
        return None


def _require_approval(folder: JobFolder, song: SongMap, without_yes: bool) -> None:
    missing = unapproved_sections(folder, song)
    if missing and not without_yes:
        raise NotRightError(
            f"The client has not said yes to {', '.join(missing)}; wait for the reply, or deliver all the same with "
            "--without-yes."
        )


def _fill(
    folder: JobFolder,
    building: Path,
    comp: Comp,
    song: SongMap,
    *,
    version: int,
    treated: bool,
    target: str,
    progress: Progress,
) -> Pack:
    job, guide = folder.job, guide_audio(folder)
    instrument = instrument_of(folder)
    part_word = instrument.name.split(" in ")[0]
    numbers = itertools.count(1)

    def named(extension: str, *, part: str = part_word, suffix: str = "") -> Path:
        name = pack_name(next(numbers), job.brief.title, part, version=version, suffix=suffix, extension=extension)
        return building / name

    stem = comp.audio
    depth = lossless_depth(stem)
    bits = rate_and_depth(guide.sr, depth, is_float=depth == FLOAT_DEPTH)
    stem_path = named("wav", suffix=bits)
    write_wav(stem_path, stem, bit_depth=depth, bext=_bext(folder, stem, "dry"))
    roles = [(stem_path, "the part, dry")]
    intended = [(stem_path, stem)]
    if treated:
        treated_path = named("wav", suffix=f"treated_{bits}")
        treated_stem, how = treat(stem, comp.lowest_hz)
        treated_bext = _bext(folder, treated_stem, "treated")
        write_wav(treated_path, treated_stem, bit_depth=lossless_depth(treated_stem), bext=treated_bext)
        intended.append((treated_path, treated_stem))
        roles.append((treated_path, f"the part, treated: {how}"))
    in_mix_path, in_mix = intended[-1]
    mix, gain_db = context_mix(guide, in_mix)
    mix_path = named("wav", suffix=f"context_{rate_and_depth(guide.sr, INTEGER_DEPTH)}")
    write_wav(mix_path, mix, bit_depth=INTEGER_DEPTH)
    lowered = f", turned down by {-gain_db:.1f} dB as a whole" if gain_db else ""
    roles.append((mix_path, f"guide plus the {'treated' if treated else 'dry'} part, to check against{lowered}"))
    progress(0.7, "opening the pack again")
    checks = [check for path, audio in intended for check in prove_stem(path, guide=guide, intended=audio)]
    checks += prove_mix(mix_path, guide=guide, stem_path=in_mix_path, gain_db=gain_db)
    if job.lines:
        placed, grid = current_line(folder), song.to_grid()
        midi_path = named("mid", part=f"{part_word}Line")
        write_midi(midi_path, placed.line, grid, title=job.brief.title, program=instrument.gm_program)
        checks += prove_line(midi_path, placed.line, grid)
        part = folder.path(current_part(folder))
        for source, suffix in ((PDFS["a4"], "A4"), (PDFS["letter"], "Letter"), (MUSICXML, "")):
            target_path = named(source.rpartition(".")[2], part=f"{part_word}Part", suffix=suffix)
            target_path.write_bytes((part / source).read_bytes())
    facts = tuple(audio_facts(path, role, song.to_grid()) for path, role in roles)
    checks += prove_names(building)
    note = NoteFacts.of(folder, song, facts, tuple(checks), version=version)
    named("pdf", part="DeliveryNote").write_bytes(note_pdf(note))
    named("txt", part="DeliveryNote").write_text(note_text(note), encoding="utf-8")
    listed = sorted(path for path in building.iterdir() if path.name != CHECKSUMS)
    sums = "".join(f"{sha256_of(path)}  {path.name}\n" for path in listed)
    (building / CHECKSUMS).write_text(sums, encoding="utf-8")
    checks += prove_checksums(building, CHECKSUMS)
    faults = [check.sentence for check in checks if not check.ok]
    if faults:
        raise NotRightError("The pack was not delivered. " + " ".join(faults))
    files = tuple(sorted(path.name for path in building.iterdir()))
    return Pack(target, f"{target}.zip", version, files, facts, tuple(checks))


def context_mix(guide: Audio, stem: Audio) -> tuple[Audio, float]:
    """Guide plus stem, the sum turned down as a whole where it would pass -1 dBFS; the gain is stated."""
    total = guide.y + stem.y
    peak_dbfs = float(amplitude_to_db(np.max(np.abs(total), initial=0.0)))
    gain_db = min(0.0, MIX_CEILING_DBFS - peak_dbfs)
    if gain_db == 0.0:
        return Audio(total, guide.sr), 0.0
    gain_db = float(np.floor(gain_db * 10.0) / 10.0)
    return Audio(total * np.float32(db_to_amplitude(gain_db)), guide.sr), gain_db


def treat(stem: Audio, lowest_hz: float | None) -> tuple[Audio, str]:
    """The treated version (low cut an octave under the lowest note, gentle compression, small room), and in words."""
    low_cut_hz = 0.5 * lowest_hz if lowest_hz else 40.0
    compressed = compress(highpass(stem, low_cut_hz))
    words = (
        f"low cut at {low_cut_hz:.0f} Hz, compression {compressed.ratio:g}:1 ({compressed.most_db:.1f} dB at most, "
        f"{compressed.typical_db:.1f} dB typically while it works), small room"
    )
    return small_room(compressed.audio), words


def _bext(folder: JobFolder, stem: Audio, treatment: str) -> BextInfo:
    job = folder.job
    moment, mode = now(), "mono" if stem.channels == 1 else "stereo"
    loudness = measure_loudness(stem)
    return BextInfo(
        description=f"{job.brief.title}, {job.instrument}, {treatment}; starts with the guide's first sample",
        originator=job.brief.player or "player",
        originator_reference=f"OBB{folder.job.guide.sha256[:12].upper()}",
        origination_date=moment.strftime("%Y-%m-%d"),
        origination_time=moment.strftime("%H:%M:%S"),
        time_reference=0,
        loudness_lufs=loudness.integrated_lufs,
        loudness_range_lu=loudness.range_lu,
        true_peak_dbtp=true_peak_dbtp(stem),
        max_momentary_lufs=loudness.max_momentary_lufs,
        max_short_term_lufs=loudness.max_short_term_lufs,
        coding_history=f"A=PCM,F={stem.sr},W={lossless_depth(stem)},M={mode}\r\n",
    )


def _write_zip(folder: Path, target: Path) -> None:
    """The pack as one file; entries in order and without dates, so that the same pack gives the same bytes.

    Nothing is compressed: sound and PDF hardly shrink, and storing them is quick.
    """
    unfinished = target.with_name(f".{target.name}.{os.getpid()}.unfinished")
    try:
        with zipfile.ZipFile(unfinished, "w", zipfile.ZIP_STORED) as archive:
            for path in sorted(folder.iterdir()):
                entry = zipfile.ZipInfo(f"{folder.name}/{path.name}")
                entry.external_attr = 0o644 << 16
                archive.writestr(entry, path.read_bytes())
        unfinished.rename(target)
    finally:
        unfinished.unlink(missing_ok=True)
