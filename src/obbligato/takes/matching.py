"""Gains that would make takes equally loud where they meet; proposed, and applied only when the player says so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from obbligato.takes.readings import Seam

LEAST_DB = 0.5
"""A smaller gain is not worth stating: about the least change of level that is heard (from memory)."""


def matching_gains(seams: Sequence[Seam], gains_db: Mapping[str, float], *, keep: str) -> dict[str, float]:
    """By path, the whole gain in dB with which the steps of level at all seams are least, in the sense of squares.

    Parameters
    ----------
    seams
        As measured with `gains_db` applied.
    keep
        Path of the take whose gain stays what it is.

    Returns
    -------
    To a tenth of a dB; only takes whose gain would change by `LEAST_DB` or more.
    """
    paths = sorted({path for seam in seams for path in (seam.from_take, seam.to_take)} - {keep})
    if not paths:
        return {}
    column = {path: i for i, path in enumerate(paths)}
    design = np.zeros((len(seams), len(paths)))
    for row, seam in zip(design, seams, strict=True):
        for path, sign in ((seam.to_take, 1.0), (seam.from_take, -1.0)):
            if path in column:
                row[column[path]] += sign
    steps = np.array([seam.level_step_db for seam in seams])
    change, *_ = np.linalg.lstsq(design, -steps, rcond=None)
    return {
        path: round(gains_db.get(path, 0.0) + float(db), 1)
        for path, db in zip(paths, change, strict=True)
        if abs(db) >= LEAST_DB
    }
