"""The client's yes: review pages sent, replies received, and what may be delivered."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from obbligato.errors import InputError
from obbligato.job.keys import line_key
from obbligato.job.mapping import song_map
from obbligato.job.mockup import BLEND, LINE, make_mockup, played_sections
from obbligato.job.model import Round, SectionAnswer
from obbligato.job.store import JobFolder, fingerprint, now
from obbligato.job.writing import PlacedLine, current_line
from obbligato.listen.songmap import SongMap
from obbligato.music.harmony import chord_text
from obbligato.page.part import chord_with_signs, with_signs
from obbligato.page.review import BarView, ReviewData, SectionView, client_mp3, parse_reply, review_html
from obbligato.page.review_reply import MAX_REPLY_CHARS
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio
from obbligato.sound.shape import gain
from obbligato.units import amplitude_to_db

REVIEW_PAGE = "review.html"
REPLY_FILE = "reply.txt"
BYTES_IN_A_LETTER = 4
"""At most, in UTF-8."""
HALF_A_FRAME_S = 0.02
"""Chords that reach less than this into a bar do not belong to it."""


def make_review(folder: JobFolder, *, progress: Progress = silent) -> Round:
    """Make the client's page for the newest line, with the newest mock-up of it; a new round begins.

    Raises
    ------
    InputError
        When this version of the line has been sent already and the client has not answered yet.
    """
    folder.require_writable()
    placed = current_line(folder)
    waiting, key = waiting_round(folder), _review_key(folder)
    if waiting:
        raise InputError(
            f"Line version {waiting.line_version} is with the client already, in {waiting.folder}; "
            "wait for the answer, or add a new version of the line first."
        )
    mockup = _fresh_mockup(folder, part_of(progress, 0.0, 0.5))
    song = song_map(folder)
    progress(0.6, "making the client's page")
    page = review_html(_review_data(folder, placed, song, mockup, key))
    number = len(folder.job.rounds) + 1
    name = f"round_{number:02d}"
    with folder.new_folder("approval", name) as (building, target):
        (building / REVIEW_PAGE).write_text(page, encoding="utf-8")
    round_ = Round(number=number, folder=target, line_version=placed.version.version, fingerprint=key, sent_at=now())
    folder.save("review", f"round {number}: line version {round_.line_version}", rounds=(*folder.job.rounds, round_))
    progress(1.0, "done")
    return round_


def waiting_round(folder: JobFolder) -> Round | None:
    """The round in which the client has the newest line already and has not answered."""
    last = folder.job.rounds[-1] if folder.job.rounds else None
    return last if last and last.replied_at is None and last.fingerprint == _review_key(folder) else None


def receive_reply(folder: JobFolder, file: Path) -> Round:
    """Read the client's answer, keep it as it came, and enter it against its round.

    Raises
    ------
    InputError
        When the file is no reply, answers another page, or its round has been answered before.
    """
    if not file.is_file():
        raise InputError(f"There is no file '{file}'; check the name.")
    not_ours = InputError(f"'{file.name}' is not the text file that the review page saves; ask for that one.")
    if file.stat().st_size > BYTES_IN_A_LETTER * MAX_REPLY_CHARS:
        raise not_ours
    try:
        text = file.read_bytes().decode("utf-8")
    except UnicodeDecodeError:
        raise not_ours from None
    return enter_reply(folder, text, given_as=f"'{file.name}'")


def enter_reply(folder: JobFolder, text: str, *, given_as: str = "This") -> Round:
    """Enter the client's answer, from the text of the file that the review page saves.

    Parameters
    ----------
    given_as
        What the text is called when something is wrong with it.

    Raises
    ------
    InputError
        When the text is no reply, answers another page, or its round has been answered before.
    """
    folder.require_writable()
    reply = parse_reply(text)
    round_ = next((r for r in reversed(folder.job.rounds) if r.fingerprint == reply.fingerprint), None)
    if round_ is None:
        raise InputError(f"{given_as} answers a page that this job did not send; check which job it belongs to.")
    if round_.replied_at is not None:
        raise InputError(f"Round {round_.number} has been answered already; a new list of wishes is a new round.")
    answers = tuple(
        SectionAnswer(section=answer.section, answer=answer.answer, remark=answer.remark) for answer in reply.answers
    )
    try:
        "".join((reply.name, *(answer.section + answer.remark for answer in answers))).encode()
    except UnicodeEncodeError:
        raise InputError(f"{given_as} has letters that no text can hold; ask for it as a file once more.") from None
    answered = round_.model_copy(update={"replied_at": now(), "replied_by": reply.name, "answers": answers})
    folder.add_file(f"{round_.folder}/{REPLY_FILE}", text.encode())
    rounds = tuple(answered if r.number == round_.number else r for r in folder.job.rounds)
    folder.save("reply", f"round {round_.number} answered by {reply.name or 'the client'}", rounds=rounds)
    return answered


def unapproved_sections(folder: JobFolder, song: SongMap) -> list[str]:
    """Sections that are played without the client's yes to the newest line, in words; none sent counts as none owed.

    A job in which no review was ever sent needs no yes: the delivery note says so instead.
    """
    if not folder.job.rounds or not folder.job.lines:
        return []
    placed = current_line(folder)
    last = folder.job.rounds[-1]
    if last.replied_at is None or last.line_version != placed.version.version:
        return [f"line version {placed.version.version}"]
    answers = {answer.section: answer.answer for answer in last.answers}
    played = played_sections(placed, song)
    return [f"section {section.label}" for section in played if answers.get(section.label) != "yes"]


def _review_key(folder: JobFolder) -> str:
    return fingerprint(line_key(folder), folder.job.created_at, folder.job.brief.title, folder.job.instrument)


def _fresh_mockup(folder: JobFolder, progress: Progress) -> str:
    """Folder of a mock-up of the newest line, made now if there is none."""
    current = folder.job.made_from("mockup", line_key(folder)) or make_mockup(folder, progress=progress)
    return current.folder


def _review_data(folder: JobFolder, placed: PlacedLine, song: SongMap, mockup: str, fingerprint: str) -> ReviewData:
    job, grid = folder.job, song.to_grid()
    played = played_sections(placed, song)
    blend_mp3, guide_mp3, line_mp3 = _client_sounds(folder, mockup)
    notes = placed.line.notes
    spans_s = tuple(
        (
            float(grid.beat_to_sec(notes[phrase.first_note].onset_beat)),
            float(grid.beat_to_sec(notes[phrase.last_note].end_beat)),
        )
        for phrase in placed.line.phrases
    )
    return ReviewData(
        title=job.brief.title,
        player=job.brief.player,
        instrument=with_signs(job.instrument),
        version=placed.version.version,
        fingerprint=fingerprint,
        sections=tuple(SectionView(section.label, line_plays=section in played) for section in song.sections),
        bars=_bar_views(song),
        line_spans_s=spans_s,
        end_s=song.source.duration_s,
        blend_mp3=blend_mp3,
        guide_mp3=guide_mp3,
        line_mp3=line_mp3,
        sent_on=now().date().isoformat(),
    )


def _client_sounds(folder: JobFolder, mockup: str) -> tuple[bytes, bytes, bytes]:
    """Blend, guide and line as MP3, each at the level it has in the blend, so that switching jumps no level."""
    blend, line = (read_audio(folder.path(f"{mockup}/{name}")) for name in (BLEND, LINE))
    guide = Audio(blend.y - line.y, blend.sr)
    loudest = max(float(abs(sound.mono()).max()) for sound in (blend, guide, line))
    down_db = min(0.0, -float(amplitude_to_db(loudest)))
    with ThreadPoolExecutor(max_workers=3) as pool:
        blend_mp3, guide_mp3, line_mp3 = pool.map(lambda s: client_mp3(gain(s, down_db)), (blend, guide, line))
    return blend_mp3, guide_mp3, line_mp3


def _bar_views(song: SongMap) -> tuple[BarView, ...]:
    """Every bar that starts in the file, with its section and chords; a bar begins where its first beat does."""
    grid = song.to_grid()
    views = []
    for bar in grid.bars_in(0.0, song.source.duration_s):
        start_s, end_s = grid.bar_to_sec(bar), grid.bar_to_sec(bar + 1)
        middle_of_beat_s = start_s + 0.5 * (end_s - start_s) / grid.meter.beats_per_bar
        section = next((s.label for s in song.sections if s.start_s <= middle_of_beat_s < s.end_s), "")
        chords = [c for c in song.chords if c.start_s < end_s - HALF_A_FRAME_S and c.end_s > start_s + HALF_A_FRAME_S]
        labels = [chord_with_signs(chord_text(chord.label)) for chord in chords if chord.label != "N"]
        views.append(BarView(bar, start_s, section, "  ".join(labels)))
    return tuple(views)
