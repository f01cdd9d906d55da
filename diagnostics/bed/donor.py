"""What a cell can give: no air drier than dry leaves it, and no more water than it holds.

Question: which faces stand for the same exchange where a step of second order would have a bead give more than it has?
Method: a face is what one cell gives and the next receives, so faces can be limited and water still closes to rounding.
Going along the flow, a face carries at most what came in and the whole of what the cell held (the donor cell's limit,
Boris & Book 1973, J. Comput. Phys. 11, 38). Hot dry beads need it: a millionth of their mass is a thousandfold change
of the vapour pressure above them, which a linear step cannot follow.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diagnostics.bed.column import Array


def given_at_most(faces: Array, before: Array, held: Array, rate_dt: Array, inlets: Mapping[int, float]) -> Array:
    """Faces that leave every cell with some loading or none, never less.

    Parameters
    ----------
    faces : array (cells,)
        Mixing ratio at each cell's leaving face, mean over the step [kg/kg].
    before : array (cells,)
        The same one face further up.
    held : array (cells,)
        Loading before the step [kg/kg].
    rate_dt : array (cells,)
        Dry air that passes in the step over the cell's desiccant [-].
    inlets : mapping of int to float
        What enters the cells that do not take what leaves the one before [kg/kg].
    """
    short = held + rate_dt * (np.maximum(before, 0.0) - faces)
    if faces.min() >= 0.0 and short.min() >= 0.0:
        return faces
    limited = np.maximum(faces, 0.0)
    change = np.flatnonzero((short < 0.0) | (before < 0.0) | (faces < 0.0))
    at, last = int(change[0]), int(change[-1])
    while at < limited.size:
        entering = inlets.get(at)
        if entering is None:
            entering = float(limited[at - 1])
        most = entering + max(float(held[at]), 0.0) / max(float(rate_dt[at]), 1e-12)
        if limited[at] > most:
            limited[at] = most
        elif at > last:
            break
        at += 1
    return limited
