"""Precision and recall of switchovers at a stated margin in absolute time, each truth matched once at most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Score:
    """Shares of the found that are true and of the true that are found, and their harmonic mean."""

    precision: float
    recall: float

    @property
    def f1(self) -> float:
        both = self.precision + self.recall
        return 2.0 * self.precision * self.recall / both if both else 0.0


def margin_of(interval_s: float, half_cycle_s: float) -> float:
    """Half a sample or 5 % of the half-cycle, whichever is larger [s]."""
    return max(0.5 * interval_s, 0.05 * half_cycle_s)


def score(true_s: np.ndarray, found_s: np.ndarray, margin_s: float) -> Score:
    """Match found to true instants, nearest pairs first."""
    true_s, found_s = np.sort(true_s), np.sort(found_s)
    if true_s.size == 0 or found_s.size == 0:
        return Score(float(true_s.size == found_s.size), float(true_s.size == found_s.size))
    near = np.searchsorted(found_s, true_s)
    pairs = [
        (abs(found_s[j] - true_s[i]), i, j)
        for i, at in enumerate(near)
        for j in range(max(0, at - 2), min(found_s.size, at + 2))
        if abs(found_s[j] - true_s[i]) <= margin_s
    ]
    taken_true: set[int] = set()
    taken_found: set[int] = set()
    for _, i, j in sorted(pairs):
        if i not in taken_true and j not in taken_found:
            taken_true.add(i)
            taken_found.add(j)
    return Score(len(taken_found) / found_s.size, len(taken_true) / true_s.size)
