"""The delivery for the page: what stands in its way, and every pack with what was proved of it."""

from __future__ import annotations

import math
from dataclasses import asdict
from datetime import datetime
from pathlib import Path

from pydantic import BaseModel

from obbligato.desk.client_data import file_view
from obbligato.desk.deps import Desk
from obbligato.desk.job_data import FileView
from obbligato.job.approval import unapproved_sections
from obbligato.job.delivery import newest_pack, proved_pack
from obbligato.job.delivery_log import delivery_log
from obbligato.job.keys import choice_key
from obbligato.job.mapping import FINDINGS, song_map
from obbligato.job.model import Made
from obbligato.job.note import IMPORT_RULE, first_sound_words
from obbligato.job.profiles import Profile
from obbligato.job.proof import CHECKSUMS
from obbligato.job.store import JobFolder
from obbligato.units import seconds_to_clock


class Step(BaseModel):
    """One thing a delivery rests on.

    `stops`: it cannot be delivered like this. `asks`: it can, if the player says so. Neither: it is in order, or is
    put in order by delivering.
    """

    about: str
    ok: bool
    stops: bool
    asks: bool
    sentence: str


class CheckView(BaseModel):
    """One thing proved."""

    ok: bool
    sentence: str


class DeliveredFile(BaseModel):
    """A file of the pack; what it is, in words, is known of sound files only."""

    name: str
    url: str
    bytes: int
    sha256: str
    role: str
    facts: str


class PackView(BaseModel):
    """A pack, and what was proved when it was written."""

    version: int
    folder: str
    at: datetime
    stale: bool
    zip: FileView | None
    files: list[DeliveredFile]
    proofs_kept: bool
    checks: list[CheckView]
    changes: list[str]
    unchanged: list[str]
    note: str


class LogView(BaseModel):
    """One file that was sent."""

    delivery: int
    at: datetime
    name: str
    bytes: int
    sha256: str


class TakeChoice(BaseModel):
    """A take that can go along whole."""

    number: int
    given_as: str


class DeliveryView(BaseModel):
    """Whether the job can be delivered, how, and every pack so far, the newest first.

    `profile` is how the newest pack was made, `asked_rate` and `asked_depth` what the brief says.
    """

    can_deliver: bool
    needs_consent: bool
    before: list[Step]
    import_rule: str
    profile: Profile
    asked_rate: int | None
    asked_depth: int | None
    takes: list[TakeChoice]
    packs: list[PackView]
    log: list[LogView]


def delivery_view(desk: Desk, folder: JobFolder) -> DeliveryView:
    """Where the delivery stands."""
    before = _before(folder)
    made = [made for made in folder.job.made if made.stage == "deliver"]
    packs = [_pack(desk, folder, each, number) for number, each in enumerate(made, start=1)]
    last = newest_pack(folder)
    return DeliveryView(
        can_deliver=not any(step.stops for step in before),
        needs_consent=any(step.asks for step in before),
        before=before,
        import_rule=IMPORT_RULE,
        profile=last.profile if last is not None else Profile(),
        asked_rate=folder.job.brief.sample_rate,
        asked_depth=folder.job.brief.bit_depth,
        takes=[TakeChoice(number=take.number, given_as=take.given_as) for take in folder.job.takes_in_use],
        packs=packs[::-1],
        log=[LogView(**asdict(row)) for row in delivery_log(folder)],
    )


def _before(folder: JobFolder) -> list[Step]:
    if not folder.path(FINDINGS).exists():
        return [_stop("map", "The guide has not been listened to yet.")]
    if not folder.job.takes_in_use:
        return [_stop("takes", "There is no take to deliver; add what you played.")]
    return [_approval(folder), _comp(folder), _line(folder)]


def _approval(folder: JobFolder) -> Step:
    if not folder.job.rounds:
        sentence = "The client was never asked; the delivery note will say so."
        return Step(about="client", ok=False, stops=False, asks=False, sentence=sentence)
    missing = unapproved_sections(folder, song_map(folder))
    if missing:
        sentence = f"The client has not said yes to {', '.join(missing)}."
        return Step(about="client", ok=False, stops=False, asks=True, sentence=sentence)
    version = folder.job.rounds[-1].line_version
    sentence = f"The client said yes to line version {version}, to everything that is played."
    return Step(about="client", ok=True, stops=False, asks=False, sentence=sentence)


def _comp(folder: JobFolder) -> Step:
    made = folder.job.last_made("choose")
    if made is None:
        words = "There is no comp yet; delivering reads the takes and joins the proposed one."
        return Step(about="comp", ok=False, stops=False, asks=False, sentence=words)
    if made.from_key != choice_key(folder):
        words = "The comp was made before the latest changes; delivering makes it anew. Listen to it first."
        return Step(about="comp", ok=False, stops=False, asks=False, sentence=words)
    return Step(
        about="comp", ok=True, stops=False, asks=False, sentence="The comp is made from everything as it stands."
    )


def _line(folder: JobFolder) -> Step:
    if folder.job.lines:
        words = f"The part and the MIDI file go along, of line version {folder.job.lines[-1].version}."
        return Step(about="line", ok=True, stops=False, asks=False, sentence=words)
    words = "There is no written line, so that no part and no MIDI file go along."
    return Step(about="line", ok=False, stops=False, asks=False, sentence=words)


def _stop(about: str, sentence: str) -> Step:
    return Step(about=about, ok=False, stops=True, asks=False, sentence=sentence)


def _pack(desk: Desk, folder: JobFolder, made: Made, number: int) -> PackView:
    pack, root = proved_pack(folder, made), folder.path(made.folder)
    sums = _checksums(root / CHECKSUMS)
    facts = {each.name: each for each in pack.audio} if pack else {}
    files = []
    for path in sorted(root.iterdir()) if root.is_dir() else []:
        sound = facts.get(path.name)
        words = ""
        if sound:
            shape = {1: "mono", 2: "stereo"}.get(sound.channels, f"{sound.channels} channels")
            loudness = f", {sound.lufs:.1f} LUFS" if math.isfinite(sound.lufs) else ""
            words = (
                f"{sound.sample_rate} Hz, {sound.bit_depth} bit, {shape}, "
                f"{seconds_to_clock(sound.frames / sound.sample_rate)}{loudness}; "
                f"first note at {first_sound_words(sound)}"
            )
        files.append(
            DeliveredFile(
                name=path.name,
                url=desk.link(folder, f"{made.folder}/{path.name}"),
                bytes=path.stat().st_size,
                sha256=sums.get(path.name, ""),
                role=sound.role if sound else "",
                facts=words,
            )
        )
    return PackView(
        version=number,
        folder=made.folder,
        at=made.at,
        stale=made.from_key != choice_key(folder),
        zip=file_view(desk, folder, f"{made.folder}.zip"),
        files=files,
        proofs_kept=pack is not None,
        checks=[CheckView(ok=check.ok, sentence=check.sentence) for check in pack.checks] if pack else [],
        changes=list(pack.changes) if pack else [],
        unchanged=list(pack.unchanged) if pack else [],
        note=_note(root),
    )


def _checksums(path: Path) -> dict[str, str]:
    """SHA-256 by file name, from a pack's own list."""
    if not path.is_file():
        return {}
    rows = (line.split("  ", 1) for line in path.read_text(encoding="utf-8").splitlines() if "  " in line)
    return {name: digest for digest, name in rows}


def _note(root: Path) -> str:
    """The delivery note's text."""
    note = next(root.glob("*DeliveryNote*.txt"), None) if root.is_dir() else None
    return note.read_text(encoding="utf-8") if note else ""
