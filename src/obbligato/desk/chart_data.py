"""The song as the chart shows it: bars with what sounds in them, the line, and what is said about it."""

from __future__ import annotations

from bisect import bisect_right

from obbligato.desk.chart_model import (
    BarView,
    ChartView,
    ChordView,
    CorrectedView,
    CountInView,
    KeyView,
    LineView,
    MeterView,
    NoteView,
    OpeningPart,
    OpeningView,
    PhraseView,
    TempoView,
    TuningView,
)
from obbligato.desk.chart_remarks import remarks_on
from obbligato.desk.chart_words import asked, told
from obbligato.job.keys import choice_key
from obbligato.job.mapping import FINDINGS, can_undo, corrections, heard_so_far, in_words, map_key, song_map
from obbligato.job.model import Corrections
from obbligato.job.store import JobFolder, fingerprint
from obbligato.job.writing import PlacedLine, current_line, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Grid
from obbligato.music.harmony import chord_text, transpose_key
from obbligato.music.instruments import Instrument
from obbligato.music.spans import Mode
from obbligato.page.chart import chart_bars, opening_letter
from obbligato.page.chart_words import opening_sentence
from obbligato.page.part_make import key_at, written_chord, written_keys

DATA = 2
"""Grows whenever the same song is told otherwise."""


def chart_view(folder: JobFolder) -> ChartView:
    """The chart of a job as it stands; what listening has found so far while it is under way."""
    fixes = corrections(folder)
    whole = folder.path(FINDINGS).exists()
    heard = None if whole else heard_so_far(folder)
    if not whole and heard is None:
        return _nothing_yet(folder, fixes)
    key = f"chart-{_stamp(folder, heard)}.json"
    kept = folder.cached(key) if whole else None
    if kept is not None:
        return ChartView.model_validate_json(kept)
    song = song_map(folder) if heard is None else heard
    view = _view(folder, song, fixes, whole=whole)
    if whole:
        folder.keep(key, view.model_dump_json().encode())
    return view


def _stamp(folder: JobFolder, heard: SongMap | None) -> str:
    """Changes with everything that the chart shows."""
    job = folder.job
    shown = (job.brief.title, job.instrument, job.rounds, [made for made in job.made if made.stage == "choose"])
    checked = job.last_made("check")
    return fingerprint(DATA, map_key(folder), choice_key(folder), shown, checked, can_undo(folder), heard is None)


def _corrected(folder: JobFolder, fixes: Corrections) -> CorrectedView:
    values = fixes.model_dump(mode="json", exclude_defaults=True)
    return CorrectedView(words=in_words(fixes), can_undo=can_undo(folder), values=values)


def _nothing_yet(folder: JobFolder, fixes: Corrections) -> ChartView:
    return ChartView(
        state="none", stamp=fingerprint(fixes), title=folder.job.brief.title, corrected=_corrected(folder, fixes)
    )


def _view(folder: JobFolder, song: SongMap, fixes: Corrections, *, whole: bool) -> ChartView:
    instrument, grid = instrument_of(folder), song.to_grid()
    placed = current_line(folder) if whole and folder.job.lines else None
    tempo, clicks = song.tempo, song.count_in
    return ChartView(
        state="whole" if whole else "tempo",
        stamp=_stamp(folder, None if whole else song),
        title=folder.job.brief.title,
        duration_s=song.source.duration_s,
        sentences=told(song, fixes, whole=whole),
        questions=asked(song, instrument) if whole else [],
        corrected=_corrected(folder, fixes),
        meter=MeterView(
            beats_per_bar=song.meter.beats_per_bar,
            unit=song.meter.beat_unit,
            signature=str(grid.meter),
            confidence=song.meter.confidence,
        ),
        tempo=TempoView(
            bpm=tempo.bpm, steady=tempo.steady, confidence=tempo.confidence, alternatives=list(tempo.alternatives)
        ),
        tuning=TuningView(a4_hz=song.tuning.a4_hz, cents=song.tuning.cents),
        count_in=None if clicks is None else CountInView(**vars(clicks)),
        bars=_bars(song, grid, instrument),
        openings=[
            OpeningView(
                index=index,
                letter=opening_letter(index),
                start_s=opening.start_s,
                end_s=opening.end_s,
                first_bar=opening.first_bar,
                last_bar=opening.last_bar,
                beats=opening.beats,
                kind=opening.kind,
                sentence=opening_sentence(opening, song, grid),
            )
            for index, opening in enumerate(song.openings)
        ],
        line=None if placed is None else _line(placed, grid, instrument),
        remarks=remarks_on(folder, song, placed) if placed else [],
    )


def _bars(song: SongMap, grid: Grid, instrument: Instrument) -> list[BarView]:
    per_bar = grid.meter.beats_per_bar
    keys = written_keys(song, grid, instrument)
    names = {_bar_of(grid, key.start_s): (key.tonic, key.mode) for key in song.keys}
    changes = {round(float(grid.sec_to_beat(span.start_s))): span.label for span in song.chords}
    beats = sorted(changes)
    views = []
    for bar in chart_bars(song):
        start = (bar.number - 1) * per_bar
        start_s, end_s = (float(x) for x in grid.beat_to_sec([start, start + per_bar]))
        sounding = bisect_right(beats, start) - 1
        here = [beat for beat in beats if start < beat < start + per_bar]
        if sounding >= 0:
            here.insert(0, beats[sounding])
        name = names.get(bar.number)
        views.append(
            BarView(
                number=bar.number,
                start_s=start_s,
                end_s=end_s,
                beats_s=grid.beat_to_sec([start + beat for beat in range(per_bar)]).tolist(),
                section=bar.section,
                chords=[
                    ChordView(
                        beat=max(0, beat - start),
                        sounding=chord_text(changes[beat]),
                        written=written_chord(changes[beat], instrument, key_at(keys, bar.number)),
                        held=beat < start,
                    )
                    for beat in here
                ],
                voice=[
                    (_share(span.start_s, start_s, end_s), _share(span.end_s, start_s, end_s))
                    for span in song.voice
                    if span.start_s < end_s and span.end_s > start_s
                ],
                openings=[
                    OpeningPart(
                        index=index,
                        start=_share(opening.start_s, start_s, end_s),
                        end=_share(opening.end_s, start_s, end_s),
                    )
                    for index, opening in enumerate(song.openings)
                    if opening.start_s < end_s - 1e-6 and opening.end_s > start_s + 1e-6
                ],
                count_in=bar.count_in,
                key=KeyView(sounding=" ".join(name), written=_written_key(*name, instrument)) if name else None,
            )
        )
    return views


def _written_key(tonic: str, mode: Mode, instrument: Instrument) -> str:
    return f"{transpose_key(tonic, mode, -instrument.transposition.semitones)} {mode}"


def _share(seconds: float, start_s: float, end_s: float) -> float:
    """A place as a share of a bar, to a thousandth."""
    return round(min(1.0, max(0.0, (seconds - start_s) / (end_s - start_s))), 3)


def _bar_of(grid: Grid, seconds: float) -> int:
    return round(float(grid.sec_to_beat(seconds)) / grid.meter.beats_per_bar) + 1


def _line(placed: PlacedLine, grid: Grid, instrument: Instrument) -> LineView:
    notes = placed.line.notes
    starts_s = grid.beat_to_sec([note.onset_beat for note in notes]).tolist()
    ends_s = grid.beat_to_sec([note.end_beat for note in notes]).tolist()
    bars = [grid.beat_to_position(note.onset_beat + 0.1).bar for note in notes]
    return LineView(
        version=placed.version.version,
        notes=[
            NoteView(
                index=index,
                onset_beat=note.onset_beat,
                duration_beats=note.duration_beats,
                pitch=note.pitch,
                written=instrument.to_written(note.pitch),
                start_s=starts_s[index],
                end_s=ends_s[index],
                bar=bars[index],
            )
            for index, note in enumerate(notes)
        ],
        phrases=[
            PhraseView(
                index=phrase.index,
                first_note=phrase.first_note,
                last_note=phrase.last_note,
                first_bar=bars[phrase.first_note],
                last_bar=bars[phrase.last_note],
                start_s=starts_s[phrase.first_note],
                end_s=ends_s[phrase.last_note],
            )
            for phrase in placed.line.phrases
        ],
    )
