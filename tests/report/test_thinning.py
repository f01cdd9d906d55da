"""Thinning for the screen, held against a loop that can be checked by eye."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.report.thinning import thin_line


def by_hand(time_s: np.ndarray, values: np.ndarray, points: int) -> set[float]:
    """Times kept: first, last, and the first lowest and highest reading of each of ``points // 2`` buckets."""
    pairs = [(t, v) for t, v in zip(time_s, values, strict=True) if np.isfinite(v)]
    edges = np.linspace(pairs[0][0], pairs[-1][0], points // 2 + 1)
    buckets: dict[int, list[tuple[float, float]]] = {}
    for t, v in pairs:
        place = max(i for i, edge in enumerate(edges[:-1]) if edge <= t)
        buckets.setdefault(place, []).append((t, v))
    kept = {pairs[0][0], pairs[-1][0]}
    for inside in buckets.values():
        low, high = min(v for _, v in inside), max(v for _, v in inside)
        kept.add(next(t for t, v in inside if v == low))
        kept.add(next(t for t, v in inside if v == high))
    return kept


@pytest.mark.parametrize("seed", range(8))
def test_thinning_agrees_with_the_loop(seed: int) -> None:
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(rng.uniform(0.5, 2.0, 900))
    values = np.where(rng.random(900) < 0.1, np.nan, np.round(rng.normal(size=900), 2))
    kept_s, kept = thin_line(time_s, values, points=60)
    assert set(kept_s) == by_hand(time_s, values, 60)
    assert np.isfinite(kept).all()


@given(st.integers(2, 5000), st.integers(10, 400))
def test_extremes_survive_and_count_is_bounded(size: int, points: int) -> None:
    values = np.sin(np.arange(size) * 0.7) * np.arange(size)
    kept_s, kept = thin_line(np.arange(size, dtype=float), values, points=points)
    assert kept.min() == values.min()
    assert kept.max() == values.max()
    assert kept_s.size <= max(size if size <= points else 0, points + 2)


def test_gaps_break_the_line() -> None:
    time_s = np.array([0.0, 1.0, 2.0, 50.0, 51.0])
    kept_s, kept = thin_line(time_s, np.arange(5.0), gap_s=3.0)
    assert np.isnan(kept).sum() == 1
    assert 2.0 < kept_s[np.isnan(kept)][0] < 50.0
