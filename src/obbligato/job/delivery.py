"""The delivery: written, opened again from disk, proved, and only then called done."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from obbligato.errors import InputError, NotRightError
from obbligato.job.approval import unapproved_sections
from obbligato.job.choosing import Comp, choose
from obbligato.job.keys import choice_key
from obbligato.job.mapping import song_map
from obbligato.job.model import Made
from obbligato.job.note import NoteFacts, note_pdf, note_text
from obbligato.job.pack_plan import plan_pack
from obbligato.job.packing import PackPlan, PlannedFile, write_planned
from obbligato.job.profiles import Profile
from obbligato.job.proof import CHECKSUMS, NOTE_PART, AudioFacts, Check, audio_facts, prove_checksums, prove_pack
from obbligato.job.redelivery import Redelivery, redelivery_of
from obbligato.job.store import JobFolder
from obbligato.job.zipping import write_zip
from obbligato.listen.songmap import SongMap
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.files import sha256_of

AS_RECORDED = Profile()
PROOF = ".proof.json"
"""Added to a pack's folder name: what was proved of it, kept beside it and not sent."""


@dataclass(frozen=True)
class Sent:
    """A file as it was sent; `digest` is of what it says, the same in every version that says the same."""

    name: str
    bytes: int
    sha256: str
    key: str = ""
    digest: str = ""


@dataclass(frozen=True)
class Pack:
    """A delivery: its folder and zip inside the job, its files, and what was proved about them.

    Attributes
    ----------
    guide_sha256, line_version
        What the pack was made for.
    only
        Keys of the files that it holds, where it holds only what changed since the pack before.
    changes, unchanged
        What changed since then, in sentences; and the files sent before that stay good.
    sent
        Every file with its size and checksum, the zip last.
    current
        By what a file is, the newest one the client has, in this pack or an earlier one.
    """

    folder: str
    zip: str
    version: int
    files: tuple[str, ...]
    audio: tuple[AudioFacts, ...]
    checks: tuple[Check, ...]
    profile: Profile = AS_RECORDED
    guide_sha256: str = ""
    line_version: int | None = None
    only: tuple[str, ...] | None = None
    changes: tuple[str, ...] = ()
    unchanged: tuple[str, ...] = ()
    sent: tuple[Sent, ...] = ()
    current: tuple[Sent, ...] = ()


_PACK = TypeAdapter(Pack)


def deliver(
    folder: JobFolder,
    *,
    profile: Profile | None = None,
    without_yes: bool = False,
    only_changed: bool = False,
    progress: Progress = silent,
) -> Pack:
    """Write the pack and prove it.

    Parameters
    ----------
    only_changed
        Only the files that say something else than the newest the client has.

    Raises
    ------
    NotRightError
        When the client has not said yes to what is played, or a written file is not what it should be; then no
        pack is left behind.
    InputError
        When the profile cannot be met, or nothing changed.
    """
    folder.require_writable()
    before = newest_pack(folder)
    profile = profile or (before.profile if only_changed and before else AS_RECORDED)
    profile.require_usable()
    song = song_map(folder)
    _require_approval(folder, song, without_yes)
    comp = choose(folder, progress=part_of(progress, 0.0, 0.5))
    version = sum(made.stage == "deliver" for made in folder.job.made) + 1
    plan = plan_pack(folder, comp, song, profile, version)
    again = _what_changed(folder, plan, before, song) if only_changed else None
    with folder.new_folder("delivery", f"delivery_{version:02d}") as (building, target):
        progress(0.55, "writing the pack")
        pack = _fill(folder, building, plan, comp, song, again=again, target=target, progress=progress)
    try:
        write_zip(folder.path(target), folder.path(pack.zip))
        pack = _with_zip(folder, pack)
        keep_proof(folder, pack)
    except BaseException:
        shutil.rmtree(folder.path(target))
        folder.path(pack.zip).unlink(missing_ok=True)
        raise
    made = folder.made("deliver", target, from_key=choice_key(folder))
    folder.save("deliver", f"delivery {version} written and proved", made=made)
    progress(1.0, "proved")
    return pack


def prove_again(folder: JobFolder, version: int | None = None) -> tuple[Pack, tuple[Check, ...]]:
    """Prove a pack that was written before against the job as it stands now; the newest unless `version` is given.

    Of one that is of another guide, line or choice, that is told, and only the checksums are proved.

    Raises
    ------
    InputError
        When there is no such pack, or what it was made by was not kept.
    """
    made = [one for one in folder.job.made if one.stage == "deliver"]
    if not made or (version is not None and not 1 <= version <= len(made)):
        raise InputError("There is no such delivery to prove; write one first with: obbligato deliver JOB")
    number = version or len(made)
    pack = proved_pack(folder, made[number - 1])
    if pack is None or not folder.path(pack.folder).is_dir():
        raise InputError(f"Delivery {number} is not there, or what it was made by was not kept; deliver anew.")
    if made[number - 1].from_key != choice_key(folder):
        return pack, (Check(False, _stale_words(folder, pack)), *prove_checksums(folder.path(pack.folder)))
    song = song_map(folder)
    checks = [Check(True, f"Delivery {number} is of the guide, the line and the choice that the job has now.")]
    missing = unapproved_sections(folder, song)
    checks.append(
        Check(
            not missing, f"The client has not said yes to {', '.join(missing)}." if missing else "No yes is lacking."
        )
    )
    plan = plan_pack(folder, choose(folder), song, pack.profile, pack.version)
    only = frozenset(pack.only) if pack.only is not None else None
    return pack, (*checks, *prove_pack(folder.path(pack.folder), plan, only=only))


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


def newest_pack(folder: JobFolder) -> Pack | None:
    """The newest pack whose proof was kept."""
    made = folder.job.last_made("deliver")
    return proved_pack(folder, made) if made is not None else None


def _stale_words(folder: JobFolder, pack: Pack) -> str:
    if pack.guide_sha256 != folder.job.guide.sha256:
        return f"Delivery {pack.version} was made for another guide than the one in force; deliver anew."
    newest = folder.job.lines[-1].version if folder.job.lines else None
    if pack.line_version != newest:
        return (
            f"Delivery {pack.version} is of line version {pack.line_version}, the newest is {newest}; deliver anew."
        )
    return f"Delivery {pack.version} was made before the latest changes to takes or choice; deliver anew."


def _require_approval(folder: JobFolder, song: SongMap, without_yes: bool) -> None:
    missing = unapproved_sections(folder, song)
    if missing and not without_yes:
        raise NotRightError(
            f"The client has not said yes to {', '.join(missing)}; wait for the reply, or deliver all the same with "
            "--without-yes."
        )


def _what_changed(folder: JobFolder, plan: PackPlan, before: Pack | None, song: SongMap) -> Redelivery:
    if before is None or not before.current:
        raise InputError("There is no earlier delivery to compare with; deliver everything first.")
    return redelivery_of(folder, plan, {one.key: (one.name, one.digest) for one in before.current}, before, song)


def _fill(
    folder: JobFolder,
    building: Path,
    plan: PackPlan,
    comp: Comp,
    song: SongMap,
    *,
    again: Redelivery | None,
    target: str,
    progress: Progress,
) -> Pack:
    planned = [file for file in plan.files if again is None or file.key in again.keys]
    paths = [write_planned(file, building) for file in planned]
    progress(0.7, "opening the pack again")
    only = again.keys if again is not None else None
    checks = prove_pack(building, plan, only=only, finished=False)
    facts = tuple(
        audio_facts(path, file.role, plan.grid)
        for path, file in zip(paths, planned, strict=True)
        if file.audio is not None
    )
    note = NoteFacts.of(folder, song, comp, plan, audio=facts, checks=tuple(checks), again=again)
    number = len(plan.files) + 1
    (building / plan.name(number, NOTE_PART, "pdf")).write_bytes(note_pdf(note))
    (building / plan.name(number + 1, NOTE_PART, "txt")).write_text(note_text(note), encoding="utf-8")
    listed = sorted(path for path in building.iterdir() if path.name != CHECKSUMS)
    sums = {path.name: sha256_of(path) for path in listed}
    (building / CHECKSUMS).write_text("".join(f"{sums[p.name]}  {p.name}\n" for p in listed), encoding="utf-8")
    checks += prove_checksums(building)
    faults = [check.sentence for check in checks if not check.ok]
    if faults:
        raise NotRightError("The pack was not delivered. " + " ".join(faults))
    files = tuple(sorted(path.name for path in building.iterdir()))
    by_name = {file.name: file for file in planned}
    sent = tuple(
        Sent(path.name, path.stat().st_size, sums[path.name], *_says(by_name.get(path.name))) for path in listed
    )
    kept = again.kept if again is not None else ()
    return Pack(
        folder=target,
        zip=f"{target}.zip",
        version=plan.version,
        files=files,
        audio=facts,
        checks=tuple(checks),
        profile=plan.profile,
        guide_sha256=folder.job.guide.sha256,
        line_version=folder.job.lines[-1].version if folder.job.lines else None,
        only=tuple(sorted(only)) if only is not None else None,
        changes=again.sentences if again is not None else (),
        unchanged=tuple(name for _, name, _ in kept),
        sent=sent,
        current=(
            *(one for one in sent if one.key),
            *(Sent(name, 0, "", key, digest) for key, name, digest in kept),
        ),
    )


def _says(file: PlannedFile | None) -> tuple[str, str]:
    return (file.key, file.digest) if file is not None else ("", "")


def _with_zip(folder: JobFolder, pack: Pack) -> Pack:
    path = folder.path(pack.zip)
    return replace(pack, sent=(*pack.sent, Sent(path.name, path.stat().st_size, sha256_of(path))))
