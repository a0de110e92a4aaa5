"""The whole job on the invented song, start to finish, and what was found beside what is true."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from obbligato.demo.compare import Compared, compare_comp, compare_delivery, compare_intake, compare_map
from obbligato.demo.making import DemoSong, make_song
from obbligato.errors import InputError
from obbligato.job.account import Account, account
from obbligato.job.approval import REVIEW_PAGE, make_review, receive_reply
from obbligato.job.checking import check
from obbligato.job.choosing import choose
from obbligato.job.delivery import Pack, deliver
from obbligato.job.hearing import make_click
from obbligato.job.intake import new_job
from obbligato.job.mapping import song_map
from obbligato.job.mockup import make_mockup, played_sections
from obbligato.job.model import Brief, Round
from obbligato.job.paper import PDFS, current_part, make_part
from obbligato.job.statement import write_statement
from obbligato.job.store import JobFolder
from obbligato.job.taking import add_takes
from obbligato.job.writing import add_line, current_line
from obbligato.page.review import SectionReply, reply_text
from obbligato.progress import Progress, part_of, silent


@dataclass(frozen=True)
class DemoResult:
    """What the demonstration made and found."""

    job: Path
    song: DemoSong
    compared: tuple[Compared, ...]
    remarks: tuple[str, ...]
    pack: Pack
    account: Account
    review_page: Path
    part_pdf: Path
    files: tuple[Path, ...]


def free_folder(wanted: Path) -> Path:
    """The first of `wanted`, `wanted-2`, `wanted-3` ... that does not exist."""
    candidate, number = wanted, 1
    while candidate.exists():
        number += 1
        candidate = wanted.with_name(f"{wanted.name}-{number}")
    return candidate


def run_demo(folder: Path, *, progress: Progress = silent) -> DemoResult:
    """Render the song, do the whole job on it in `folder/job`, and compare the findings with the truth.

    Raises
    ------
    InputError
        When the folder exists already.
    """
    if folder.exists():
        raise InputError(f"'{folder}' exists already; name a new folder for the demonstration.")
    folder.mkdir(parents=True)
    song = make_song(folder / "song", progress=part_of(progress, 0.0, 0.3))
    job = _take_the_job(folder / "job", song, part_of(progress, 0.3, 0.45))
    found = song_map(job)
    remarks = _write_and_agree(job, song, part_of(progress, 0.45, 0.65))
    add_takes(job, song.takes)
    comp = choose(job, progress=part_of(progress, 0.65, 0.85))
    pack = deliver(job, progress=part_of(progress, 0.85, 1.0))
    write_statement(job)
    compared = (
        *compare_intake(song),
        *compare_map(found, song.truth),
        *compare_comp(comp, song.truth),
        *compare_delivery(job, pack),
    )
    files = tuple(sorted(path for path in folder.rglob("*") if path.is_file() and ".cache" not in path.parts))
    review_page = job.path(job.job.rounds[-1].folder) / REVIEW_PAGE
    part_pdf = job.path(current_part(job)) / PDFS["a4"]
    return DemoResult(job.root, song, compared, remarks, pack, account(job), review_page, part_pdf, files)


def _take_the_job(root: Path, song: DemoSong, progress: Progress) -> JobFolder:
    brief = Brief(
        title=song.truth["title"],
        client=song.truth["client"],
        player="Tove Quill",
        approver=song.truth["singer"],
        wishes="Warm flugelhorn answers between the lines, a solo in the middle, and a line under the last chorus.",
        rounds_included=2,
        fee=180.0,
        currency="EUR",
    )
    job = new_job(root, guide=song.guide_wav, instrument="flugelhorn", brief=brief)
    song_map(job, progress=progress)
    return job


def _write_and_agree(job: JobFolder, song: DemoSong, progress: Progress) -> tuple[str, ...]:
    add_line(job, song.line_mid)
    remarks = tuple(remark.sentence for remark in check(job))
    make_mockup(job, progress=part_of(progress, 0.0, 0.4))
    round_ = make_review(job, progress=part_of(progress, 0.4, 0.6))
    reply = song.truth_json.with_name("reply.txt")
    reply.write_text(_client_says_yes(job, round_), encoding="utf-8")
    receive_reply(job, reply)
    make_part(job, progress=part_of(progress, 0.6, 0.8))
    make_click(job, progress=part_of(progress, 0.8, 1.0))
    return remarks


def _client_says_yes(job: JobFolder, round_: Round) -> str:
    """The reply that the review page saves when the client agrees to every section in which the line plays."""
    song = song_map(job)
    played = played_sections(current_line(job), song)
    return reply_text(
        title=job.job.brief.title,
        version=round_.line_version,
        fingerprint=round_.fingerprint,
        name=job.job.brief.approver,
        answers=tuple(SectionReply(section=section.label, answer="yes", remark="") for section in played),
    )
