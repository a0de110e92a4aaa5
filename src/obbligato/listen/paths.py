"""The best path through states that change rarely (Viterbi's search)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def best_path(scores: NDArray[np.float64], change_cost: ArrayLike) -> NDArray[np.intp]:
    """States, one a step, with the highest sum of scores less the cost of every change of state.

    Parameters
    ----------
    scores
        Shape (n_steps, n_states), n_steps at least 1.
    change_cost
        Cost of entering another state at a step: one number, one for each step (n_steps,), or one for each pair
        of states (n_states, n_states), from row to column.
    """
    n_steps, n_states = scores.shape
    cost = np.asarray(change_cost, dtype=np.float64)
    if cost.ndim == 2:
        return _pairwise_path(scores, cost)
    cost = np.broadcast_to(cost, n_steps)
    stays = np.empty((n_steps, n_states), dtype=bool)
    leader = np.empty(n_steps, dtype=np.intp)
    total = scores[0]
    for i in range(1, n_steps):
        leader[i] = np.argmax(total)
        from_leader = total[leader[i]] - cost[i]
        stays[i] = total >= from_leader
        total = np.maximum(total, from_leader) + scores[i]
    path = np.empty(n_steps, dtype=np.intp)
    path[-1] = np.argmax(total)
    for i in range(n_steps - 1, 0, -1):
        path[i - 1] = path[i] if stays[i, path[i]] else leader[i]
    return path


def _pairwise_path(scores: NDArray[np.float64], cost: NDArray[np.float64]) -> NDArray[np.intp]:
    n_steps, n_states = scores.shape
    back = np.zeros((n_steps, n_states), dtype=np.intp)
    total = scores[0]
    for i in range(1, n_steps):
        arriving = total[:, None] - cost
        back[i] = np.argmax(arriving, axis=0)
        total = arriving[back[i], np.arange(n_states)] + scores[i]
    path = np.empty(n_steps, dtype=np.intp)
    path[-1] = np.argmax(total)
    for i in range(n_steps - 1, 0, -1):
        path[i - 1] = back[i, path[i]]
    return path
