"""Commands for the work before the first take: map, line, check, mockup, review, reply, part, click."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from obbligato.cli import reports
from obbligato.cli.app import JobArgument, JsonOption, app
from obbligato.cli.new_guide import map_guide
from obbligato.cli.terminal import EXIT_NOT_RIGHT, choose_output, progress_bar, say
from obbligato.errors import InputError


@app.command("map")
def map_(
    job: JobArgument,
    bpm: Annotated[float | None, typer.Option(help="The tempo, in beats of the metre's unit.")] = None,
    double: Annotated[bool, typer.Option(help="Count twice as fast.")] = False,
    halve: Annotated[bool, typer.Option(help="Count half as fast.")] = False,
    shift_beats: Annotated[
        float | None, typer.Option(help="Move bar 1 later by so many beats, e.g. 0.5 or -1.")
    ] = None,
    bar_1: Annotated[str | None, typer.Option("--bar-1", help="When bar 1 starts, e.g. 0:04.25.")] = None,
    meter: Annotated[str | None, typer.Option(help="The metre, e.g. 3/4 or 12/8.")] = None,
    key: Annotated[list[str] | None, typer.Option(help="A key: 'Bb major', or from a bar on '57=C major'.")] = None,
    taps: Annotated[
        str | None, typer.Option(help="Times of beats you tapped along, e.g. '4.25 4.76 5.25 5.77'.")
    ] = None,
    tap: Annotated[
        str | None,
        typer.Option(metavar="FILE|-", help="A text file of such times, one a line; - reads them as they come."),
    ] = None,
    guide: Annotated[
        Path | None, typer.Option(metavar="NEW", help="A new guide: say what it does to the song, line and takes.")
    ] = None,
    take_over: Annotated[bool, typer.Option("--take-over", help="Go by the new guide from now on.")] = False,
    chord: Annotated[
        list[str] | None, typer.Option(help="A sounding chord at a bar and beat: 12:3=Cm7; 12:3= for what was heard.")
    ] = None,
    section: Annotated[
        list[str] | None, typer.Option(help="The letter of the section beginning in a bar: 17=B; 17= for none.")
    ] = None,
    singer: Annotated[
        list[str] | None, typer.Option(help="Whether the singer sings: 9-12=no, or to the beat 9:3-12:2=yes.")
    ] = None,
    confirm: Annotated[
        list[str] | None, typer.Option(help="Say that what was in doubt is right: tempo, meter or keys.")
    ] = None,
    words: Annotated[
        list[str] | None,
        typer.Option(help="Words sung from a bar on, as cues for the page: '17=When the harbour'; 17= for none."),
    ] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take the last correction back.")] = False,
    undo_all: Annotated[bool, typer.Option(help="Go back to what was heard.")] = False,
    json: JsonOption = False,
) -> None:
    """Listen to the guide and show the song map; take corrections by hand."""
    from obbligato.job.mapping import correct, song_map
    from obbligato.job.places import parse_taps, read_taps
    from obbligato.job.store import JobFolder

    folder = JobFolder.open(job)
    if take_over and guide is None:
        raise InputError("--take-over needs the new guide: obbligato map JOB --guide NEW --take-over")
    if taps is not None and tap is not None:
        raise InputError("--taps and --tap say the same thing; give one of them.")
    if guide is not None:
        map_guide(folder, guide, take_over=take_over, json=json)
        return
    tapped_s = parse_taps(taps) if taps is not None else read_taps(tap) if tap is not None else ()
    with progress_bar() as progress:
        correct(
            folder,
            bpm=bpm,
            double=double,
            halve=halve,
            shift_beats=shift_beats,
            bar_1=bar_1,
            meter=meter,
            keys=tuple(key or ()),
            taps_s=tapped_s,
            chords=tuple(chord or ()),
            sections=tuple(section or ()),
            singer=tuple(singer or ()),
            confirmed=tuple(confirm or ()),
            words=tuple(words or ()),
            undo_last=undo,
            undo_all=undo_all,
            progress=progress,
        )
        song = song_map(folder, progress=progress)
    choose_output(json, lambda: reports.map_json(folder, song), lambda: reports.show_map(folder, song))


@app.command()
def line(
    job: JobArgument,
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE.mid|VERB", help="The line as MIDI, or one of: edit, difference, layer, help."),
    ],
    words: Annotated[
        list[str] | None,
        typer.Argument(help="After edit: what to change; after difference: two versions; after layer: which."),
    ] = None,
    start: Annotated[
        Literal["auto", "guide", "bar-1"],
        typer.Option(help="What the MIDI file's time zero is: the guide's first sample, or bar 1."),
    ] = "auto",
    json: JsonOption = False,
) -> None:
    """Add a version of the line; edit it, compare versions, write a second voice, or show what helps to write."""
    from obbligato.cli.line_editing import VERBS, line_words
    from obbligato.job.mapping import song_map
    from obbligato.job.store import JobFolder
    from obbligato.job.writing import add_line

    folder = JobFolder.open(job)
    if str(file) in VERBS:
        line_words(folder, str(file), words or (), json=json)
        return
    if words:
        raise InputError(f"'{words[0]}' is too much; a line is one MIDI file.")
    with progress_bar() as progress:
        placed = add_line(folder, file, start=start, progress=progress)
        song = song_map(folder)
    choose_output(json, lambda: reports.line_json(placed, song), lambda: reports.show_line(folder, placed, song))


@app.command()
def check(
    job: JobArgument,
    picture: Annotated[Path | None, typer.Option(help="Draw the breath of the whole line to this SVG file.")] = None,
    json: JsonOption = False,
) -> None:
    """Can the line be played and breathed, and does it leave the singer alone?"""
    from obbligato.job.checking import check as check_line
    from obbligato.job.checking import line_budgets, tank_picture
    from obbligato.job.store import JobFolder
    from obbligato.sound.atomic import write_bytes_at_once

    folder = JobFolder.open(job)
    remarks, spent = check_line(folder), line_budgets(folder)
    drawn: tuple[str, ...] = ()
    if picture is not None:
        svg, words = tank_picture(folder)
        write_bytes_at_once(picture, svg.encode())
        drawn = (f"{words} Drawn in {picture}.",)
    choose_output(json, lambda: reports.plain(remarks), lambda: reports.show_remarks(folder, remarks, spent, drawn))
    if any(remark.severity == "stop" for remark in remarks):
        raise typer.Exit(EXIT_NOT_RIGHT)


@app.command()
def mockup(
    job: JobArgument,
    line_db: Annotated[
        float | None,
        typer.Option(help="Loudness of the line against the guide, where the line plays; -3 if left out."),
    ] = None,
    soundfont: Annotated[Path | None, typer.Option(help="Another SoundFont (.sf2) to play it with.")] = None,
) -> None:
    """Play the line by SoundFont and blend it with the guide."""
    from obbligato.job.mockup import make_mockup
    from obbligato.job.store import JobFolder

    folder = JobFolder.open(job)
    with progress_bar() as progress:
        made = make_mockup(folder, line_db=line_db, soundfont=soundfont, progress=progress)
    say(made.sentence, f"In {folder.path(made.folder)}: blend.wav, line.wav, and blend.mp3 for sending.")
    reports.say_next(folder)


@app.command()
def review(job: JobArgument) -> None:
    """Make the page on which the client hears the mock-up and answers."""
    from obbligato.job.approval import REVIEW_PAGE, make_review
    from obbligato.job.store import JobFolder

    folder = JobFolder.open(job)
    with progress_bar() as progress:
        round_ = make_review(folder, progress=progress)
    say(f"Round {round_.number}. Send this one file to the client: {folder.path(round_.folder) / REVIEW_PAGE}")
    reports.say_next(folder)


@app.command()
def reply(
    job: JobArgument,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The text file the client sent back.")],
) -> None:
    """Read the client's answer."""
    from obbligato.job.approval import receive_reply
    from obbligato.job.store import JobFolder

    folder = JobFolder.open(job)
    reports.show_reply(folder, receive_reply(folder, file))


@app.command()
def part(
    job: JobArgument,
    print_: Annotated[
        Literal["normal", "large", "low-vision"],
        typer.Option(
            "--print", help="The print you read: large, or low-vision with bold words and thicker lines too."
        ),
    ] = "normal",
    stave: Annotated[
        float | None, typer.Option(metavar="MM", help="Height of the stave in mm; 7 is usual, up to 30.")
    ] = None,
    landscape: Annotated[bool, typer.Option("--landscape", help="The sheet across.")] = False,
    tint: Annotated[bool, typer.Option("--tint", help="An off-white ground.")] = False,
) -> None:
    """The transposed page to play from, as PDF (A4 and Letter) and MusicXML, and a score in concert pitch."""
    from obbligato.job.paper import make_part
    from obbligato.job.store import JobFolder
    from obbligato.page.part_print import part_print

    folder = JobFolder.open(job)
    how = part_print(print_, stave_mm=stave, landscape=landscape, tinted=tint)
    with progress_bar() as progress:
        made = make_part(folder, how=how, progress=progress)
    say(*made.sentences, f"In {folder.path(made.folder)}: {', '.join(made.files)}.")
    reports.say_next(folder)


@app.command()
def click(
    job: JobArgument,
    guide_db: Annotated[
        float | None,
        typer.Option(help="Gain of the guide in the headphones, in dB; chosen by its loudness if left out."),
    ] = None,
    tone: Annotated[
        Literal["bar", "wood", "soft"],
        typer.Option(help="How the click sounds; soft for quiet songs and tired ears."),
    ] = "bar",
    mock_up: Annotated[
        bool, typer.Option("--mock-up", help="Hear the mock-up's line in the headphones too.")
    ] = False,
    headphones: Annotated[
        str | None,
        typer.Option(metavar="SENSITIVITY", help="For the estimate of exposure: '96 dB/mW, 80 ohm' or '112 dB/V'."),
    ] = None,
    volts: Annotated[float, typer.Option(help="The output's voltage at full volume, for the same.")] = 1.0,
) -> None:
    """Click, count-in and headphone mix."""
    from obbligato.job.hearing import make_click
    from obbligato.job.store import JobFolder
    from obbligato.play.exposure import parse_headphones

    folder = JobFolder.open(job)
    stated = parse_headphones(headphones, volts=volts) if headphones is not None else None
    with progress_bar() as progress:
        made = make_click(
            folder, guide_db=guide_db, tone=tone, with_mockup=mock_up, headphones=stated, progress=progress
        )
    say(*made.sentences, f"In {folder.path(made.folder)}: click.wav, count-in.wav, headphones.wav.")
    reports.say_next(folder)
