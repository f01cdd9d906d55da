"""The jackknife against leaving out in fact."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.cycle.jackknife import BLOCKS, jackknife_error


def test_jackknife_leaves_out_each_block() -> None:
    rng = np.random.default_rng(5)
    time = np.arange(85.0)
    design = np.stack([np.ones_like(time), time], axis=1)
    y, weight = 0.3 * time + rng.normal(size=time.size), rng.uniform(0.5, 1.0, time.size)
    slopes = []
    for block in range(BLOCKS):
        kept = np.arange(time.size) * BLOCKS // time.size != block
        root = np.sqrt(weight[kept])
        slopes.append(np.linalg.lstsq(design[kept] * root[:, None], y[kept] * root, rcond=None)[0][1])
    expected = np.sqrt((BLOCKS - 1.0) / BLOCKS * np.sum((slopes - np.mean(slopes)) ** 2))
    assert jackknife_error(design, weight, y, 1, np.zeros(2)) == pytest.approx(expected, rel=1e-9)
    assert jackknife_error(design[:20], weight[:20], y[:20], 1, np.zeros(2)) == 0.0
