"""How a compressor's power follows its flow, by control, alone and in a pool.

Question: what does a compressor draw when it delivers less than full flow? Output: power as a share of full-load power
at a share of full flow, and the power of a pool. Method: straight lines by kind of control (own simplification; the
unloaded share and the 0.70 of a throttled machine are from memory), base machines full first, trim takes the rest.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diagnostics.plant_file import Compressor

Floats = NDArray[np.float64]

UNLOADED_SHARE = 0.3
"""Power of an unloaded machine over its full-load power (usual 0.25 to 0.35; common practice, no published source)."""
THROTTLED_SHARE = 0.70
LOWEST_SPEED_SHARE, LOWEST_SPEED_POWER = 0.10, 0.25
"""Variable speed: power the line meets at no flow; share of flow below which the machine stops and starts instead
(usual lowest speeds 20 to 30 %; common practice, no published source)."""


def power_share(flow_share: ArrayLike, control: str, unloaded_share: float = UNLOADED_SHARE) -> Floats:
    """Power over full-load power while the machine is in service.

    Parameters
    ----------
    flow_share : array_like, shape (n,) or ()
        Flow over full flow, 0 to 1 [-].
    control : str
        ``load_unload`` (ample storage), ``inlet_modulation`` (no unloading), ``variable_speed``, ``start_stop``.
    unloaded_share : float
        Power when unloaded over full-load power [-].

    Returns
    -------
    ndarray
        [-]

    Raises
    ------
    ValueError
        If the control is unknown or a flow share is outside 0 to 1.
    """
    q = np.asarray(flow_share, dtype=np.float64)
    if q.size and not (q.min() >= 0.0 and q.max() <= 1.0):
        raise ValueError(f"flow_share from {q.min():g} to {q.max():g} is outside 0 to 1")
    match control:
        case "load_unload":
            return unloaded_share + (1.0 - unloaded_share) * q
        case "inlet_modulation":
            return THROTTLED_SHARE + (1.0 - THROTTLED_SHARE) * q
        case "variable_speed":
            line = LOWEST_SPEED_SHARE + (1.0 - LOWEST_SPEED_SHARE) * q
            at_lowest = LOWEST_SPEED_SHARE + (1.0 - LOWEST_SPEED_SHARE) * LOWEST_SPEED_POWER
            return np.where(q >= LOWEST_SPEED_POWER, line, q / LOWEST_SPEED_POWER * at_lowest)
        case "start_stop":
            return q.copy()
    raise ValueError(f"control = {control!r} is none of load_unload, inlet_modulation, variable_speed, start_stop")


def marginal_share(control: str, unloaded_share: float = UNLOADED_SHARE) -> float:
    """Slope of `power_share`: share of full-load power saved per share of full flow saved [-]."""
    high, low = power_share(np.array([0.8, 0.6]), control, unloaded_share)
    return float((high - low) / 0.2)


def pool_kw(demand_m3_min: ArrayLike, machines: Sequence[Compressor]) -> Floats:
    """Power of a pool in which base machines run full first and the trim machine takes the rest.

    Parameters
    ----------
    demand_m3_min : array_like, shape (n,)
        Air asked for [m3/min]; beyond the pool's flow it is cut.
    machines : sequence of Compressor
        In starting order, each with rated flow, specific power and control. A machine without demand is off.

    Returns
    -------
    ndarray, shape (n,)
        [kW]
    """
    left = np.atleast_1d(np.asarray(demand_m3_min, dtype=np.float64)).copy()
    power = np.zeros_like(left)
    for machine in sorted(machines, key=lambda m: m.role == "trim"):
        assert machine.rated_flow_m3_min is not None
        assert machine.specific_power_kw_per_m3_min is not None
        assert machine.control is not None
        taken = np.clip(left, 0.0, machine.rated_flow_m3_min)
        unloaded = UNLOADED_SHARE if machine.unloaded_power_share is None else machine.unloaded_power_share
        share = power_share(taken / machine.rated_flow_m3_min, machine.control, unloaded)
        full_kw = machine.rated_flow_m3_min * machine.specific_power_kw_per_m3_min
        power += np.where(taken > 0.0, share * full_kw, 0.0)
        left -= taken
    return power


def is_described(machine: Compressor) -> bool:
    """Whether a machine's flow, specific power and control are all given."""
    facts = (machine.rated_flow_m3_min, machine.specific_power_kw_per_m3_min, machine.control)
    return all(fact is not None for fact in facts)


def falls_below_lowest_speed(demand_m3_min: Floats, machine: Compressor) -> bool:
    """Whether a speed-controlled machine is asked for less than it delivers at its lowest speed in some of the time.

    Parameters
    ----------
    demand_m3_min : ndarray, shape (n,)
        [m3/min]
    machine : Compressor
        With its rated flow.

    Returns
    -------
    bool
    """
    if machine.control != "variable_speed" or machine.rated_flow_m3_min is None:
        return False
    return bool((demand_m3_min < LOWEST_SPEED_POWER * machine.rated_flow_m3_min).any())
