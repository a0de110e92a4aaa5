"""The plan of a job's pack: its sounds from the comp and from whole takes, and the page to play from."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from functools import partial

from obbligato.errors import InputError
from obbligato.job.choosing import Comp
from obbligato.job.facts_sheet import facts_sheet_pdf
from obbligato.job.intake import guide_audio
from obbligato.job.keys import line_key
from obbligato.job.mending import mended_audio
from obbligato.job.model import TakeRef
from obbligato.job.packing import Document, PackPlan, Source
from obbligato.job.paper import MUSICXML, PDFS, current_part
from obbligato.job.profiles import Profile
from obbligato.job.proposing import propose
from obbligato.job.store import JobFolder, fingerprint, now
from obbligato.job.writing import current_line, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.play.click import click_track
from obbligato.sound.audio import Audio
from obbligato.sound.dynamics import compress
from obbligato.sound.room import small_room
from obbligato.sound.shape import highpass
from obbligato.sound.wav import BextInfo
from obbligato.takes.join import join

PIP_BARS = 2
"""So many bars of the song have pips in the sync reference, after the count-in."""


def plan_pack(folder: JobFolder, comp: Comp, song: SongMap, profile: Profile, version: int) -> PackPlan:
    """What the pack of the job as it stands is made of.

    Raises
    ------
    InputError
        When a take that is to go along whole is not there or not in use.
    """
    job, guide, grid = folder.job, guide_audio(folder), song.to_grid()
    instrument = instrument_of(folder)
    chosen = {choice.take for choice in comp.assessment.choice}
    numbers = [str(take.number) for take in job.takes_in_use if take.file in chosen]
    takes = f"{'take' if len(numbers) == 1 else 'takes'} {' '.join(numbers)}"
    sources = [Source("", "the part, dry", comp.audio, takes)]
    if profile.treated:
        treated, how = treat(comp.audio, comp.lowest_hz)
        sources.append(Source("treated", f"the part, treated: {how}", treated, f"{takes}; {how}"))
    mixed = len(sources) - 1
    sources += _whole_takes(folder, song, profile.also)
    if profile.pips:
        pips = click_track(
            grid, n_samples=guide.n_samples, sr=guide.sr, last_beat=float(PIP_BARS * grid.meter.beats_per_bar)
        )
        role = f"sync reference: the count-in and {PIP_BARS} bars of pips, not to be mixed"
        sources.append(Source("", role, pips, "made by this program", kind="pips"))
    return PackPlan(
        title=job.brief.title,
        part=instrument.name.split(" in ", maxsplit=1)[0],
        version=version,
        profile=profile,
        guide=guide,
        grid=grid,
        sources=tuple(sources),
        mixed=mixed,
        line=current_line(folder).line if job.lines else None,
        program=instrument.gm_program,
        documents=_documents(folder, instrument.name.split(" in ", maxsplit=1)[0]),
        bext=_bext(folder),
    )


def treat(stem: Audio, lowest_hz: float | None) -> tuple[Audio, str]:
    """The treated version (low cut an octave under the lowest note, gentle compression, small room), and in words."""
    low_cut_hz = 0.5 * lowest_hz if lowest_hz else 40.0
    compressed = compress(highpass(stem, low_cut_hz))
    words = (
        f"low cut at {low_cut_hz:.0f} Hz, compression {compressed.ratio:g}:1 ({compressed.most_db:.1f} dB at most, "
        f"{compressed.typical_db:.1f} dB typically while it works), small room"
    )
    return small_room(compressed.audio), words


def _whole_takes(folder: JobFolder, song: SongMap, numbers: tuple[int, ...]) -> list[Source]:
    known = {take.number: take for take in folder.job.takes_in_use}
    missing = [number for number in numbers if number not in known]
    if missing:
        raise InputError(f"Take {missing[0]} is not there or left out, so that it cannot go along.")
    if not numbers:
        return []
    proposal = propose(folder, song)
    choice = proposal.assessment.choice

    def whole(take: TakeRef) -> Audio:
        mine = tuple(replace(one, take=take.file, pieces=()) for one in choice)
        return join(
            {take.file: partial(mended_audio, folder, take)},
            proposal.placements,
            mine,
            (),
            n_samples=song.source.frames,
            sr=song.source.sample_rate,
            gains_db=proposal.gains_db,
        ).audio

    return [
        Source(f"take{number}", f"take {number} whole, dry, as a layer or to choose from", whole(known[number]))
        for number in dict.fromkeys(numbers)
    ]


def _documents(folder: JobFolder, part: str) -> tuple[Document, ...]:
    facts = facts_sheet_pdf(folder)
    digest = hashlib.sha256(facts).hexdigest()
    sheet = Document("SessionFacts", "", "pdf", "session facts and credits: facts and blanks", facts, digest)
    if not folder.job.lines:
        return (sheet,)
    made = folder.path(current_part(folder))
    key = fingerprint(line_key(folder), folder.job.instrument, folder.job.brief.title)
    pages = tuple(
        Document(f"{part}Part", what, extension, role, (made / file).read_bytes(), f"{file} {key}")
        for file, what, extension, role in (
            (PDFS["a4"], "A4", "pdf", "the page to play from, A4"),
            (PDFS["letter"], "Letter", "pdf", "the page to play from, Letter"),
            (MUSICXML, "", "musicxml", "the page to play from, as MusicXML"),
        )
    )
    return (*pages, sheet)


def _bext(folder: JobFolder) -> BextInfo:
    """What is the same in every file; dated as the comp, so that the same decisions give the same bytes."""
    job, made = folder.job, folder.job.last_made("choose")
    moment = made.at if made is not None else now()
    return BextInfo(
        originator=job.brief.player or "player",
        originator_reference=f"OBB{job.guide.sha256[:12].upper()}",
        origination_date=moment.strftime("%Y-%m-%d"),
        origination_time=moment.strftime("%H:%M:%S"),
    )
