"""What `obbligato line JOB` does besides adding a file, and the table of instruments."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, get_args

import typer

from obbligato.cli import reports
from obbligato.cli.app import JsonOption, app
from obbligato.cli.terminal import choose_output, say
from obbligato.errors import InputError
from obbligato.job.store import JobFolder
from obbligato.music.instruments import INSTRUMENTS, Instrument, find_instrument, pitch_text
from obbligato.music.layers import Layer

VERBS = ("edit", "difference", "layer", "help")


def line_words(folder: JobFolder, verb: str, words: Sequence[str], *, json: bool) -> None:
    """Edit the line, compare two versions, write a layer, or help to write.

    Raises
    ------
    InputError
        When the words after the verb are not what it needs.
    """
    if verb == "edit":
        _edit(folder, " ".join(words), json=json)
    elif verb == "difference":
        _difference(folder, words, json=json)
    elif verb == "layer":
        _layer(folder, words, json=json)
    else:
        _help(folder, json=json)


def _edit(folder: JobFolder, text: str, *, json: bool) -> None:
    from obbligato.job.line_editing import EDITS, edit_line

    if not text.strip():
        raise InputError(f"Say what to change: {'; '.join(EDITS.values())}.")
    placed, changes = edit_line(folder, text)
    document = {"version": placed.version.version, "changes": reports.plain(changes)}
    told = [change.sentence for change in changes]
    choose_output(json, lambda: document, lambda: say(f"Version {placed.version.version} of the line.", *told))


def _difference(folder: JobFolder, words: Sequence[str], *, json: bool) -> None:
    from obbligato.job.line_editing import difference_of

    if len(words) != 2 or not all(word.isdecimal() for word in words):
        raise InputError("Name two versions of the line, like: obbligato line JOB difference 2 3")
    changes = difference_of(folder, int(words[0]), int(words[1]))
    told = [change.sentence for change in changes] or ["The two versions are the same."]
    choose_output(json, lambda: reports.plain(changes), lambda: say(*told))


def _layer(folder: JobFolder, words: Sequence[str], *, json: bool) -> None:
    from obbligato.job.line_editing import add_layer

    layer = next((name for name in get_args(Layer) if list(words) == [name]), None)
    if layer is None:
        raise InputError(f"Name one layer: {', '.join(get_args(Layer))}.")
    file, leaving = add_layer(folder, layer)
    told = leaving or ("Every note lies in the safe range of the job's instrument.",)
    where = f"In sounding pitch, for {layer}: {folder.path(file)}"
    choose_output(json, lambda: {"file": file, "range": list(leaving)}, lambda: say(where, *told))


def _help(folder: JobFolder, *, json: bool) -> None:
    from obbligato.job.drafting import mapped_song
    from obbligato.job.opening_help import help_for
    from obbligato.job.singer_notes import singer_notes
    from obbligato.job.writing import instrument_of
    from obbligato.music.remarks import bars_text

    openings = help_for(mapped_song(folder), instrument_of(folder), singer_notes(folder))

    def show() -> None:
        if not openings:
            say("The singer leaves no room in this song, or it is not known where they sing.")
        for o in openings:
            bars = bars_text(range(o.first_bar, o.last_bar + 1)).capitalize()
            air = "" if o.breaths is None else f", {o.breaths:.1f} breaths to fill it"
            say(f"{bars}: {o.beats:.0f} beats, {o.seconds:.1f} s{air}.")
            say(f"  written chords: {' | '.join(o.chords) or 'not known'}")
            say(f"  written scale: {' '.join(o.scale) or 'not known'}")
            sung = "not known without a vocal stem" if o.sung_before is None else " ".join(o.sung_before)
            say(f"  the singer's last notes, written: {sung or 'none near'}")

    choose_output(json, lambda: reports.plain(openings), show)


@app.command()
def instruments(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="One instrument; all if left out.")] = None,
    json: JsonOption = False,
) -> None:
    """The table of instruments: transposition, ranges in written pitch, breath, bow and lip, and what is your own."""
    from obbligato.job.own_figures import own_figures

    named = INSTRUMENTS if name is None else (find_instrument(name),)
    figures = own_figures()
    shown = [figures.applied_to(i) for i in named]
    own = {i.name: figures.words(i) for i in named if figures.words(i)}

    def document() -> list[dict[str, Any]]:
        return [{**reports.plain(i), "own": list(own.get(i.name, ()))} for i in shown]

    def show() -> None:
        say(_table(shown))
        for i in shown if name is not None else ():
            say(*(f"{pitch_text(w.low)}-{pitch_text(w.high)} (written): {w.why}." for w in i.weak))
        for of, told in own.items():
            say(f"Your own for {of}: {'; '.join(told)}.")

    choose_output(json, document, show)


def _table(shown: Sequence[Instrument]) -> str:
    rows: list[tuple[str, ...]] = [
        ("written pitch", "sounds", "clef", "safe", "strong", "ask first", "breath", "play:rest", "GM")
    ]
    rows += [_row(i) for i in shown]
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = (" ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in rows)
    return "\n".join(line.rstrip() for line in lines)


def _row(i: Instrument) -> tuple[str, ...]:
    """Zones in written pitch; breath, or a bow of a string player, in seconds."""
    air = f"{i.breath_s:g} s" if i.breath_s is not None else "" if i.bow_s is None else f"bow {i.bow_s:g} s"
    return (
        i.name,
        f"{i.transposition.semitones:+d}" if i.transposition.semitones else "0",
        i.clef,
        f"{pitch_text(i.comfortable_low)}-{pitch_text(i.comfortable_high)}",
        f"{pitch_text(i.strong_low)}-{pitch_text(i.strong_high)}",
        f"{pitch_text(i.low)}-{pitch_text(i.high)}",
        air,
        "" if i.play_to_rest is None else f"{i.play_to_rest:g}:1",
        str(i.gm_program),
    )
