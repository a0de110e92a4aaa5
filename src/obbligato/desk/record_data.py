"""Recording as the page sees it: what is going on at this moment, what came of it, and what a job is ready for."""

from __future__ import annotations

import time
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from obbligato.desk.words import page_words
from obbligato.job.covering import Cover, cover, notes_played
from obbligato.job.intake import guide_audio
from obbligato.job.model import Mark
from obbligato.job.ready import ReadyCheck, plan_check
from obbligato.job.recovering import cut_off_takes
from obbligato.job.store import JobFolder
from obbligato.job.writing import instrument_of
from obbligato.play.audio_settings import AudioSettings, HeadphoneLevels
from obbligato.play.devices import DeviceFacts
from obbligato.play.lips import rest_wanted_s, usual_share
from obbligato.play.placement import placement_svg, placement_text
from obbligato.play.ready import check_low_cut

Phase = Literal["idle", "checking", "calibrating", "making", "count-in", "recording", "ringing", "keeping"]
Bars = tuple[Annotated[int, Field(ge=1, le=10_000)], Annotated[int, Field(ge=1, le=10_000)]]


class CheckView(BaseModel):
    """One thing that the ready check looked at."""

    what: str
    state: Literal["wrong", "usable", "good", "unknown"]
    value: float | None
    unit: str
    sentence: str


class ReadyView(BaseModel):
    """The verdict of a ready check, one sentence first."""

    ready: bool
    sentence: str
    channel: int
    checks: list[CheckView]


class LostView(BaseModel):
    """A drop-out, on the guide's time; `lost_ms` is None where the device did not say how much."""

    at_s: float
    lost_ms: float | None
    words: str


class MeterView(BaseModel):
    """Levels by input, dBFS: of the last moment, the highest of three seconds, and of the whole take; samples at full
    scale."""

    peak_dbfs: list[float]
    hold_dbfs: list[float]
    highest_dbfs: list[float]
    overs: int


class Outcome(BaseModel):
    """What came of the last thing that was asked for; refused when nothing could come of it."""

    id: str
    what: Literal["record", "check", "calibrate"]
    kind: Literal["take", "check", "calibration", "refused"]
    job: str
    sentences: list[str]
    numbers: list[int] = []
    failed: bool = False
    lost: list[LostView] = []
    check: ReadyView | None = None


class RecordingState(BaseModel):
    """What is going on at this moment; `asked` counts what was begun.

    `position_s` is the place on the guide's time that was played `age_s` ago; `first_s` where the bars asked for
    begin. `round` counts how often an open take has begun its sound.
    """

    phase: Phase = "idle"
    asked: int = 0
    job: str = ""
    number: int | None = None
    position_s: float = 0.0
    age_s: float = 0.0
    first_s: float = 0.0
    ends_s: float = 0.0
    bars: Bars | None = None
    loop: bool = False
    open_ended: bool = False
    round: int = 1
    meter: MeterView | None = None
    lost: list[LostView] = []
    safe_s: float = 0.0
    fraction: float = 0.0
    message: str = ""
    outcome: Outcome | None = None


class DeviceView(BaseModel):
    """A device to choose; `asked` is what names it without a doubt."""

    asked: str
    name: str
    inputs: int
    outputs: int
    rate: int
    wireless: bool


class SettingsGiven(BaseModel):
    """Settings to change; what is left out stays, null goes back to what is usual."""

    model_config = ConfigDict(extra="forbid")

    device: Annotated[str, Field(max_length=400)] | None = None
    block: Annotated[int, Field(ge=0, le=16384)] | None = None
    inputs: Annotated[int, Field(ge=1, le=64)] | None = None
    place: Annotated[str, Field(max_length=400)] | None = None
    gain_note: Annotated[str, Field(max_length=400)] | None = None
    levels: HeadphoneLevels | None = None
    headphones: Annotated[str, Field(max_length=100)] | None = None
    volts: Annotated[float, Field(gt=0.0, le=100.0, allow_inf_nan=False)] | None = None
    rest_share: Annotated[float, Field(ge=0.0, le=4.0, allow_inf_nan=False)] | None = None


class SettingsView(BaseModel):
    """The settings as they are; they belong to this computer, not to a job."""

    device: str | None
    block: int
    inputs: int
    place: str
    gain_note: str
    levels: HeadphoneLevels
    headphones: str
    volts: float
    rest_share: float | None

    @classmethod
    def of(cls, settings: AudioSettings) -> SettingsView:
        """Without what was measured of devices."""
        return cls.model_validate(settings.model_dump(exclude={"round_trips"}))


class TakeOrder(BaseModel):
    """What to record: the whole song or some bars, once, again and again, or open; see `job.session.begin_take`."""

    model_config = ConfigDict(extra="forbid")

    bars: Bars | None = None
    loop: bool = False
    open_ended: bool = False
    measure_each: bool = False
    anyway: bool = False


class PhraseCoverView(BaseModel):
    """A phrase, and how many takes of it there are."""

    index: int
    first_bar: int
    last_bar: int
    usable: int


class TakeCoverView(BaseModel):
    """A take: what is known of it, and its phrases."""

    number: int
    given_as: str
    seconds: float
    mark: Mark | None
    left_out: bool
    is_placed: bool
    cells: list[Literal["played", "part", "silent", "lost", "no"]]


class CoverView(BaseModel):
    """Phrases by takes, and the sentence on it."""

    phrases: list[PhraseCoverView]
    takes: list[TakeCoverView]
    sentence: str


class RecordView(BaseModel):
    """A job as it is recorded.

    `play` says what to play for the ready check, `low_cut` what to set beforehand; `round_trip_ms` is None where it
    was not measured for the device and rate; `rest_s` is how long to rest yet.
    """

    play: str
    check_bars: list[int]
    low_cut: str
    placement: list[str]
    placement_svg: str
    sample_rate: int
    round_trip_ms: float | None
    cut_off: int
    cover: CoverView
    played_minutes: float
    rest_s: float
    rest_share: float
    settings: SettingsView


def record_view(folder: JobFolder, settings: AudioSettings) -> RecordView:
    """Everything the page shows before and between takes; nothing is written."""
    plan = plan_check(folder)
    instrument = instrument_of(folder)
    sr = guide_audio(folder).sr
    trip = None if settings.device is None else settings.round_trip(settings.device, sr=sr, block=settings.block)
    share = usual_share(instrument) if settings.rest_share is None else settings.rest_share
    played = notes_played(folder)
    return RecordView(
        play=plan.play,
        check_bars=list(plan.bars),
        low_cut="" if plan.lowest_hz is None else check_low_cut(plan.lowest_hz).sentence,
        placement=list(placement_text(instrument)),
        placement_svg=placement_svg(instrument),
        sample_rate=sr,
        round_trip_ms=None if trip is None else 1000.0 * trip / sr,
        cut_off=len(cut_off_takes(folder)),
        cover=cover_view(cover(folder)),
        played_minutes=sum(end_s - start_s for start_s, end_s in played) / 60.0,
        rest_s=rest_wanted_s(played, time.time(), share=share),
        rest_share=share,
        settings=SettingsView.of(settings),
    )


def cover_view(found: Cover) -> CoverView:
    """What is covered, for the page."""
    return CoverView(
        phrases=[PhraseCoverView.model_validate(vars(phrase)) for phrase in found.phrases],
        takes=[
            TakeCoverView(
                number=take.number,
                given_as=take.given_as,
                seconds=take.seconds,
                mark=take.mark,
                left_out=take.left_out,
                is_placed=take.is_placed,
                cells=list(take.cells),
            )
            for take in found.takes
        ],
        sentence=found.sentence,
    )


def ready_view(found: ReadyCheck) -> ReadyView | None:
    """The verdict of a ready check, in the page's words."""
    readiness = found.readiness
    if readiness is None:
        return None
    return ReadyView(
        ready=readiness.ready,
        sentence=page_words(readiness.sentence),
        channel=readiness.channel,
        checks=[CheckView.model_validate(vars(check)) for check in readiness.checks],
    )


def device_views(there: tuple[DeviceFacts, ...]) -> list[DeviceView]:
    """Devices to choose from; those that share a name are asked for by their number."""
    names = [facts.name for facts in there]
    return [
        DeviceView(
            asked=facts.name if names.count(facts.name) == 1 else str(facts.number),
            name=facts.name,
            inputs=facts.inputs,
            outputs=facts.outputs,
            rate=facts.rate,
            wireless=facts.looks_wireless,
        )
        for facts in there
    ]
