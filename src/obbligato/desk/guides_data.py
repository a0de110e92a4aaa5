"""The guides of a job as the page shows them: the one in force, those beside it, and what each would do."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import BaseModel

from obbligato.job.mapping import map_is_ready
from obbligato.job.new_guide import GuideReport, difference_is_ready, guide_report
from obbligato.job.store import JobFolder


class ChangeView(BaseModel):
    """What happened to some bars; the bars are those of the guide in force, null for bars put in."""

    kind: str
    first_bar: int | None
    last_bar: int | None
    sentence: str


class SectionView(BaseModel):
    """A section of the guide in force, and what happened in it."""

    section: str
    changes: list[ChangeView]


class ReportView(BaseModel):
    """What going by another guide would do."""

    sentences: list[str]
    sections: list[SectionView]
    takes: list[str]
    same_song: bool


class OtherGuideView(BaseModel):
    """A guide beside the one in force; no report where it has to be compared first."""

    guide: str
    given_as: str
    at: datetime
    state: Literal["waiting", "left", "before"]
    report: ReportView | None


class GuidesView(BaseModel):
    """The guide in force, and those beside it, the newest first."""

    in_force: str
    others: list[OtherGuideView]


def guides_view(folder: JobFolder) -> GuidesView:
    """All guides of a job; nothing is listened to for it."""
    known = map_is_ready(folder)
    others = [
        OtherGuideView(
            guide=other.guide.sha256,
            given_as=other.guide.given_as,
            at=other.at,
            state=other.state,
            report=_report(guide_report(folder, other.guide.sha256))
            if known and difference_is_ready(folder, other.guide.sha256)
            else None,
        )
        for other in reversed(folder.job.other_guides)
    ]
    return GuidesView(in_force=folder.job.guide.given_as, others=others)


def _report(report: GuideReport) -> ReportView:
    sections = [
        SectionView(section=section.section, changes=[ChangeView(**vars(change)) for change in section.changes])
        for section in report.sections
    ]
    return ReportView(
        sentences=list(report.sentences),
        sections=sections,
        takes=[take.sentence for take in report.takes],
        same_song=any(stretch.old and stretch.new for stretch in report.difference.stretches),
    )
