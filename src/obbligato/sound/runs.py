"""Stretches in which something holds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def true_runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Where a mask of shape (n,) is true, as (first, one past the last).

    >>> true_runs(np.array([True, True, False, True]))
    [(0, 2), (3, 4)]
    >>> true_runs(np.array([], dtype=bool))
    []
    """
    if not mask.size:
        return []
    edges = np.flatnonzero(mask[1:] != mask[:-1]) + 1
    ends = [*([0] if mask[0] else []), *edges.tolist(), *([len(mask)] if mask[-1] else [])]
    return list(zip(ends[::2], ends[1::2], strict=True))
