"""The mean flow that compressors' hour meters stand for, where nothing measures it.

Question: how much air enters the dryer on average? Input: rated flow and hours of every compressor. Output: a flow with
its range. Method: delivered air over the hours under pressure; hours under load deliver the rated flow, hours of a
motor that also runs unloaded or throttled deliver a part of it.
"""

from __future__ import annotations

from diagnostics.estimate import Estimate
from diagnostics.plant import Plant
from diagnostics.plant_file import Compressor

LOADED = Estimate(1.0, 0.77, 1.3)
"""Delivered over rated flow in loaded hours: wear, pressure, a log that is not the year's mean (common practice, no
published source)."""
RUNNING = Estimate(0.7, 0.47, 1.05)
"""The same in running hours, of which some are unloaded, throttled or slow (common practice, no published source)."""


def flow_from_hours(plant: Plant) -> Estimate | None:
    """Mean flow while the dryer is under pressure.

    Parameters
    ----------
    plant : Plant

    Returns
    -------
    Estimate or None
        [m3/min]; None unless every compressor has a rated flow and hours.
    """
    machines = plant.compressors
    flows = [flow for machine in machines if (flow := _delivered(machine, plant.operation.hours_per_year)) is not None]
    if not machines or len(flows) < len(machines):
        return None
    return Estimate(*(sum(getattr(flow, end) for flow in flows) for end in ("value", "low", "high")))


def _delivered(machine: Compressor, pressed_h: float) -> Estimate | None:
    """Mean delivery of one machine over the hours under pressure [m3/min]."""
    if machine.rated_flow_m3_min is None:
        return None
    if machine.loaded_hours_per_year is not None:
        hours, part = machine.loaded_hours_per_year, LOADED
    elif machine.running_hours_per_year is not None:
        hours, part = machine.running_hours_per_year, LOADED if machine.control == "start_stop" else RUNNING
    else:
        return None
    return part.scaled(machine.rated_flow_m3_min * min(hours / pressed_h, 1.0))
