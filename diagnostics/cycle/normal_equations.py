"""Inverse of small normal equations, and how a fit by them changes when blocks of neighbours are left out."""

from __future__ import annotations

import numpy as np

from diagnostics.log.record import Floats

CUT = 1e-15
"""Share of the largest eigenvalue below which one counts as nought, as in ``numpy.linalg.pinv``."""
BLOCKS = 10


def symmetric_inverse(matrix: Floats) -> Floats:
    """Moore-Penrose inverse of symmetric matrices without negative eigenvalues.

    The same as ``numpy.linalg.pinv(matrix, hermitian=True)``, which a test holds it to, at a fraction of its cost.

    Parameters
    ----------
    matrix : ndarray, shape (..., m, m)

    Returns
    -------
    ndarray, shape (..., m, m)
    """
    values, vectors = np.linalg.eigh(matrix)
    # largest first, and the product in this order: to the last bit what the general function gives
    values, vectors = values[..., ::-1], vectors[..., ::-1]
    kept = values > CUT * values[..., :1]
    inverse = np.where(kept, 1.0 / np.where(kept, values, 1.0), 0.0)
    return np.asarray(vectors @ (inverse[..., None] * vectors.swapaxes(-1, -2)), dtype=np.float64)


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
    inverse = symmetric_inverse(design.T @ (design * kept[:, :, None]) + np.diag(held))
    without = (inverse @ (design.T @ (kept * y)[:, :, None]))[:, column, 0]
    return float(np.sqrt((BLOCKS - 1.0) / BLOCKS * np.sum((without - without.mean()) ** 2)))
