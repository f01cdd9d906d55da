"""How a fit by normal equations changes when blocks of neighbours are left out: all blocks at once."""

from __future__ import annotations

import numpy as np

from diagnostics.log.record import Floats

BLOCKS = 10


def jackknife_error(design: Floats, weight: Floats, y: Floats, column: int, held: Floats) -> float:
    """Standard error of one coefficient by leaving out a block of neighbours at a time: slow wander shows in it.

    Parameters
    ----------
    design : ndarray, shape (n, m)
    weight, y : ndarray, shape (n,)
        In time's order; fewer than four a block tell nothing: 0.
    column : int
        Of the coefficient.
    held : ndarray, shape (m,)
        Added to the diagonal of the normal equations.
    """
    if y.size < 4 * BLOCKS:
        return 0.0
    block = np.arange(y.size) * BLOCKS // y.size
    kept = np.where(block == np.arange(BLOCKS)[:, None], 0.0, weight)
    inverse = np.linalg.pinv(design.T @ (design * kept[:, :, None]) + np.diag(held), hermitian=True)
    without = (inverse @ (design.T @ (kept * y)[:, :, None]))[:, column, 0]
    return float(np.sqrt((BLOCKS - 1.0) / BLOCKS * np.sum((without - without.mean()) ** 2)))
