"""Run lengths of charts worked out exactly, by other ways than the charts' own."""

from __future__ import annotations

import numpy as np
from scipy import stats


def normal_cusum_mean_run(mean: float, k: float = 0.5, h: float = 4.0, start: float = 0.0) -> float:
    """Mean run length of ``W = max(0, W + x - k)`` on normal steps, by its integral equation.

    Gauss-Legendre quadrature; the atom at zero is a node of its own.
    """
    nodes, weights = np.polynomial.legendre.leggauss(80)
    z, w = h * (nodes + 1) / 2, h * weights / 2
    points = np.append(0.0, z)

    def row(at: np.ndarray) -> np.ndarray:
        into = stats.norm.pdf(z[None, :] - at[:, None] + k - mean) * w
        return np.column_stack([stats.norm.cdf(k - at - mean), into])

    lengths = np.linalg.solve(np.eye(len(points)) - row(points), np.ones(len(points)))
    return float((1 + row(np.array([start])) @ lengths)[0])


def two_sided(up: float, down: float) -> float:
    """Mean run length of two charts watched together, each started at zero."""
    return 1 / (1 / up + 1 / down)


def ewma_mean_run(mean: float, weight: float, width: float) -> float:
    """Mean run length of a two-sided exponentially weighted average of normal steps."""
    limit = width * np.sqrt(weight / (2 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(100)
    z, w = limit * nodes, limit * weights

    def row(at: np.ndarray) -> np.ndarray:
        step = (z[None, :] - (1 - weight) * at[:, None]) / weight
        return stats.norm.pdf(step - mean) * w / weight

    lengths = np.linalg.solve(np.eye(len(z)) - row(z), np.ones(len(z)))
    return float((1 + row(np.zeros(1)) @ lengths)[0])


def bernoulli_cusum_mean_run(p: float, m: int, h: int) -> float:
    """Mean jobs to a signal of ``S = max(0, S + (m - 1 or -1))``, by its absorbing Markov chain."""
    chain = np.zeros((h, h))
    for state in range(h):
        chain[state, max(state - 1, 0)] += 1 - p
        if state + m - 1 < h:
            chain[state, state + m - 1] += p
    return float(np.linalg.solve(np.eye(h) - chain, np.ones(h))[0])


def poisson_cusum_chance(
    length: float, limit: float, ratio: float, rate: float = 1.0, cells: int = 300
) -> float:
    """Chance that a chart of comebacks sounds before so many are expected, by a Markov chain.

    Levels in steps of ``log(ratio) / cells``: time passes in steps in which the chart falls by
    one, and a comeback lifts it by ``cells``.
    """
    step = np.log(ratio) / cells
    expected = step / (ratio - 1)
    states = int(np.ceil(limit / step - 1e-9))
    p = rate * expected
    here = np.zeros(states)
    here[0] = 1.0
    for _ in range(round(length / expected)):
        fallen = np.append(here[1:], 0.0)
        fallen[0] += here[0]
        lifted = np.concatenate([np.zeros(cells), fallen])[:states]
        here = (1 - p) * fallen + p * lifted
    return float(1 - here.sum())
