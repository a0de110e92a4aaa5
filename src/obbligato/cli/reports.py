"""How results are shown: sentences first, then the numbers, then the picture."""

from __future__ import annotations

import os
import shutil
import sys
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter
from rich.table import Table

from obbligato.cli.terminal import out, say
from obbligato.job.brief import deadline_of
from obbligato.job.correcting import tempo_by_hand
from obbligato.job.mapping import corrections, song_map_to_json
from obbligato.job.mapping import in_words as corrections_in_words
from obbligato.job.model import Corrections, Round
from obbligato.job.sheet import in_words, take_name
from obbligato.job.status import next_step, with_folder
from obbligato.job.store import now
from obbligato.page.chart import chart, map_sentences
from obbligato.units import seconds_to_clock

if TYPE_CHECKING:
    from obbligato.demo.run import DemoResult
    from obbligato.job.account import Account
    from obbligato.job.choosing import Comp
    from obbligato.job.delivery import Pack
    from obbligato.job.status import Status
    from obbligato.job.store import JobFolder
    from obbligato.job.writing import PlacedLine
    from obbligato.listen.songmap import SongMap
    from obbligato.music.playable import Remark
    from obbligato.music.stamina import Budget
    from obbligato.takes.readings import Assessment, Seam, TakeReading

STATE_MARK = {"done": "x", "stale": "!", "waiting": "~", "open": " "}


def plain(value: Any) -> Any:
    """Any result as plain JSON values."""
    return TypeAdapter(type(value)).dump_python(value, mode="json")


def say_next(folder: JobFolder) -> None:
    """The one next step."""
    say("", next_step(folder))


def show_song(song: SongMap, *, tempo_by_hand: bool = False) -> None:
    """A song map: what was found, in sentences, then the chart."""
    say(*map_sentences(song, tempo_by_hand=tempo_by_hand), "")
    out.print(chart(song, width=out.width))


def map_json(folder: JobFolder, song: SongMap) -> dict[str, Any]:
    """The song map, and the corrections in it."""
    return {
        **song_map_to_json(song),
        "corrections": corrections(folder).model_dump(mode="json", exclude_defaults=True),
    }


def show_map(folder: JobFolder, song: SongMap) -> None:
    """A job's song map, saying what was put right by hand."""
    fixes = corrections(folder)
    show_song(song, tempo_by_hand=tempo_by_hand(song, fixes))
    if fixes != Corrections():
        say("", f"Put right by hand: {corrections_in_words(fixes)}.")
    say_next(folder)


def line_json(placed: PlacedLine, song: SongMap) -> dict[str, Any]:
    """A line with its notes on the guide's time."""
    grid = song.to_grid()
    return {
        "version": placed.version.model_dump(mode="json"),
        "notes": [
            {
                "index": i,
                "start_s": float(grid.beat_to_sec(note.onset_beat)),
                "end_s": float(grid.beat_to_sec(note.end_beat)),
                "midi": note.pitch,
            }
            for i, note in enumerate(placed.line.notes)
        ],
        "phrases": [plain(phrase) for phrase in placed.line.phrases],
    }


def show_line(folder: JobFolder, placed: PlacedLine, song: SongMap) -> None:
    """A line's phrases, with their bars and times."""
    grid, line = song.to_grid(), placed.line
    say(
        f"Version {placed.version.version} of the line: {len(line.notes)} notes in {len(line.phrases)} phrases.",
        *placed.sentences,
    )
    table = Table("phrase", "from bar", "at", "notes", box=None, pad_edge=False)
    for phrase in line.phrases:
        first = line.notes[phrase.first_note]
        bar, beat = grid.spoken_position(first.onset_beat)
        clock = seconds_to_clock(float(grid.beat_to_sec(first.onset_beat)))
        table.add_row(str(phrase.index + 1), f"{bar} beat {beat:.1f}", clock, str(len(phrase.note_indices)))
    out.print(table)
    say_next(folder)


def show_remarks(
    folder: JobFolder, remarks: tuple[Remark, ...], spent: tuple[Budget, ...], drawn: tuple[str, ...] = ()
) -> None:
    """What the check of the line found, what the line spends of lip or bow, and what was drawn of it."""
    sentences = [remark.sentence for remark in remarks] or ["Nothing stands in the way of playing this line."]
    say(*sentences, *(budget.sentence for budget in spent if budget.sentence not in sentences), *drawn)
    say_next(folder)


def show_reply(folder: JobFolder, round_: Round) -> None:
    """The client's answer by section."""
    say(
        f"Round {round_.number}, line version {round_.line_version}, answered by {round_.replied_by or 'the client'}:"
    )
    for answer in round_.answers:
        say(f"  {answer.section}: {answer.answer}" + (f' - "{answer.remark}"' if answer.remark else ""))
    say_next(folder)


def show_takes(folder: JobFolder) -> None:
    """The takes of a job."""
    from obbligato.sound.formats import file_format

    table = Table("take", "given as", "rate", "length", "played to", box=None, pad_edge=False)
    for take in folder.job.takes:
        played_to = f"line v{take.line_version}" if take.line_version else "no line"
        if take.number in folder.job.left_out:
            played_to += ", left out"
        length = seconds_to_clock(take.frames / take.sample_rate)
        table.add_row(str(take.number), take.given_as, f"{take.sample_rate} Hz", length, played_to)
    out.print(table) if folder.job.takes else say("There are no takes yet.")
    for take in folder.job.takes:
        if file_format(folder.path(take.file)).bit_depth is None:
            say(f"Take {take.number} is a lossy file; add the WAV or FLAC of it instead, if there is one.")
    say_next(folder)


def show_assessment(assessment: Assessment) -> None:
    """Readings of takes, the verdicts by phrase, and the proposed choice."""
    for take in assessment.takes:
        say(_take_sentence(take, take.path), *(f"  {remark}" for remark in take.remarks))
        for phrase in take.phrases:
            say(f"  phrase {phrase.index + 1}: {phrase.verdict}")
    say("", *(f"Phrase {choice.phrase + 1}: {choice.take} ({choice.why})" for choice in assessment.choice))


def comp_json(comp: Comp) -> dict[str, Any]:
    """Readings and choice, in the shape of `assess --json`, with the gains in force and those that would match."""
    document: dict[str, Any] = {
        **plain(comp.assessment),
        "folder": comp.folder,
        "gains_db": dict(comp.gains_db),
        "matching_db": dict(comp.matching_db),
    }
    return document


def show_comp(folder: JobFolder, comp: Comp) -> None:
    """The comp: how each take lies, what was chosen and why, and how the joins measure."""
    say(*(_take_sentence(take, take_name(take.path)) for take in comp.assessment.takes), "")
    for choice in comp.assessment.choice:
        why = in_words(choice.why, comp.assessment)
        following = f" {in_words(choice.change, comp.assessment)}" if choice.change else ""
        say(f"Phrase {choice.phrase + 1}: {take_name(choice.take)}. {why}{following}")
    if comp.assessment.seams:
        say("")
        _show_seams(comp.assessment.seams)
    say("", comp.coverage, *_level_sentences(comp), f"The comp is in {folder.path(comp.folder)}.")
    say_next(folder)


def _show_seams(seams: tuple[Seam, ...]) -> None:
    table = Table("seam at", "from", "to", "fade", "level", "pitch", "noise", "tone", box=None, pad_edge=False)
    for seam in seams:
        table.add_row(
            seconds_to_clock(seam.at_s),
            take_name(seam.from_take),
            take_name(seam.to_take),
            f"{seam.fade_ms:.0f} ms",
            f"{seam.level_step_db:+.1f} dB",
            f"{seam.pitch_step_cents:+.0f} cents",
            f"{seam.noise_step_db:+.1f} dB",
            "-" if seam.tone_step_db is None else f"{seam.tone_step_db:+.1f} dB",
        )
    out.print(table)
    turned = sorted({(take_name(s.from_take), take_name(s.to_take)) for s in seams if s.polarity == "turned"})
    say(*(f"The polarity of {a} and {b} differs; check how they were recorded." for a, b in turned))


def _level_sentences(comp: Comp) -> list[str]:
    """The gains in force, and those that would match the takes."""
    applied = [f"{take_name(path)} {db:+.1f} dB" for path, db in comp.gains_db.items()]
    sentences = [f"Joined with gains: {', '.join(applied)}."] if applied else []
    if comp.matching_db:
        options = " ".join(
            f"--gain {take_name(path).removeprefix('take ')}={db:+.1f}" for path, db in comp.matching_db.items()
        )
        sentences.append(f"To match the levels at the seams: {options}, or --match.")
    return sentences


def show_pack(folder: JobFolder, pack: Pack) -> None:
    """A delivery: what was proved, and where it is."""
    from obbligato.job.note import first_sound_words

    say(*(check.sentence for check in pack.checks), "")
    for facts in pack.audio:
        say(f"{facts.name}: {facts.role}; first audible note at {first_sound_words(facts)}.")
    say("", f"Send this one file: {folder.path(pack.zip)}")
    say_next(folder)


def status_json(result: Status) -> dict[str, Any]:
    """Where a job stands, with the commands in the sentences."""
    stages = [{"stage": stage.stage, "state": stage.state, "sentence": stage.with_command} for stage in result.stages]
    return {"stages": stages, "next_step": result.next_step}


def show_status(folder: JobFolder, result: Status) -> None:
    """Where a job stands, and how long there is until its deadline."""
    brief = folder.job.brief
    due = deadline_of(brief, moment=now().astimezone())
    by = f" - by {brief.deadline}" if brief.deadline else ""
    say(f"{brief.title} - {folder.job.instrument}{by}" + (f" ({due.words})" if due else ""), "")
    for stage in result.stages:
        say(f"[{STATE_MARK[stage.state]}] {stage.stage:8} {with_folder(stage.with_command, folder)}")
    say_next(folder)


def account_json(result: Account) -> dict[str, Any]:
    """Time and rounds."""
    return {**plain(result), "minutes": result.minutes, "rounds_beyond": result.rounds_beyond}


def show_account(folder: JobFolder, result: Account, written: str | None) -> None:
    """Time by stage and rounds used."""
    table = Table("stage", "hours", box=None, pad_edge=False)
    for time in result.stages:
        table.add_row(time.stage, f"{time.minutes / 60.0:.2f}")
    out.print(table)
    say("", f"{result.minutes / 60.0:.2f} hours in all.")
    say(*result.rounds_sentences)
    if result.fee_per_hour is not None:
        say(f"The fee comes to {result.fee_per_hour:.2f} {result.currency} an hour so far.".replace("  ", " "))
    if written:
        say(f"The statement is in {folder.path(written)}.")


def show_demo(result: DemoResult) -> None:
    """What the demonstration found beside the truth, the files it made, and how to open the client's page."""
    table = Table("", "what", "truth", "found", box=None, pad_edge=False)
    for row in result.compared:
        table.add_row("ok" if row.right else "NOT", row.what, row.truth, row.found)
    say("Found, beside what is true of the invented song:", "")
    out.print(table)
    if result.remarks:
        say("", "The check of the line said:", *(f"  {sentence}" for sentence in result.remarks))
    say("", f"Files, in {result.job.parent}:")
    say(*(f"  {path.relative_to(result.job.parent)}  ({_size(path.stat().st_size)})" for path in result.files))
    say("", f"Open the client's page in a browser: {result.review_page.absolute()}")
    say(f"The part to play from: {result.part_pdf}", f"The delivery: {result.job / result.pack.zip}")
    program = "obbligato" if shutil.which("obbligato") else os.path.relpath(sys.argv[0])
    say(f"Where the job stands: {program} status {result.job}")


def _take_sentence(take: TakeReading, name: str) -> str:
    seconds = abs(take.offset_ms) >= 1000.0
    start = f"{take.offset_ms / 1000.0:+.3f} s" if seconds else f"{take.offset_ms:+.1f} ms"
    place = f"starts {start} from the guide's first sample"
    drift = f", clock {take.drift_ppm:+.0f} ppm" if abs(take.drift_ppm) >= 1 else ""
    return f"{name[:1].upper()}{name[1:]}: {place}{drift}, tuned {take.tuning_cents:+.0f} cents to the song."


def _size(n_bytes: int) -> str:
    return f"{n_bytes / 1e6:.1f} MB" if n_bytes >= 1e5 else f"{n_bytes / 1e3:.1f} kB"
