"""The five takes of the invented song, and what is wrong in each of them.

Every phrase is clean in at least one take, and no take is clean throughout.
"""

from __future__ import annotations

from obbligato.demo.brass import BrassStyle
from obbligato.demo.playing import Fault, TakePlan

TAKES = (
    TakePlan(
        "take-1",
        48000,
        scatter_ms=12.0,
        scatter_cents=5.0,
        after_s=3.41,
        faults=(
            Fault(3, "late", 120.0),
            Fault(8, "missed_note", note=4),
            Fault(12, "cough", -22.0, note=2),
            Fault(13, "clipped", 3.0, note=1),
        ),
    ),
    TakePlan(
        "take-2",
        44100,
        tuning_cents=2.0,
        scatter_ms=11.0,
        after_s=2.86,
        noise_dbfs=-64.0,
        faults=(
            Fault(0, "click_bleed", -40.0),
            Fault(1, "click_bleed", -40.0),
            Fault(5, "flat", 30.0),
            Fault(10, "wrong_note", -1.0, note=3),
            Fault(13, "level_drop", 10.0),
        ),
    ),
    TakePlan(
        "take-3",
        48000,
        offset_s=21.137,
        tuning_cents=-1.5,
        scatter_cents=5.5,
        after_s=4.2,
        faults=(
            Fault(2, "missed_note", note=2),
            Fault(7, "clipped", 4.0, note=3),
            Fault(10, "late", 95.0),
            Fault(14, "wrong_note", 2.0, note=4),
        ),
        style=BrassStyle(darkness=1.08),
    ),
    TakePlan(
        "take-4",
        44100,
        offset_s=-1.283,
        drift_ppm=37.0,
        scatter_ms=13.0,
        noise_dbfs=-66.0,
        after_s=2.5,
        faults=(
            Fault(4, "wrong_note", 1.0, note=5),
            Fault(6, "cough", -20.0, note=2),
            Fault(10, "missed_note", note=5),
            Fault(11, "flat", 28.0),
            Fault(13, "flat", 35.0),
        ),
    ),
    TakePlan(
        "take-5",
        48000,
        tuning_cents=1.0,
        scatter_ms=12.5,
        scatter_cents=6.0,
        after_s=3.0,
        faults=(
            Fault(1, "wrong_note", -2.0, note=3),
            Fault(3, "missed_note", note=3),
            Fault(8, "level_drop", 9.0),
            Fault(10, "click_bleed", -38.0),
            Fault(11, "click_bleed", -38.0),
            Fault(13, "late", 85.0),
            Fault(15, "late", 140.0),
        ),
        style=BrassStyle(vibrato_cents=14.0),
    ),
)
