"""Logs of beds that are known, fitted tower by tower: do intervals hold them, and which figures are said to be open?

Run with ``python -m tests.bed.study_calibration [heated|heatless]``; a few of these logs are part of the suite.
"""

from __future__ import annotations

import itertools
import sys
import time
from dataclasses import replace

from diagnostics.bed import simulation
from diagnostics.bed.bed_fit import BedFit
from diagnostics.bed.calibration import calibrate
from diagnostics.bed.vessel import dryer_from
from diagnostics.cycle.half_cycles import segment
from diagnostics.log.reading import read_log
from diagnostics.log.record import Upload
from diagnostics.log.screening import screen
from diagnostics.plant import plant_from
from tests.bed.test_calibration import TABLES

HEATLESS = {"regeneration": "heatless", "rated_flow_m3_min": 20.0, "half_cycle_s": 300}
CASES = {
    "heated": (TABLES["dryer"] | {"desiccant_mass_kg": 400.0}, (0.7, 1.0), (15.0, 20.0), 1.0),
    "heatless": (HEATLESS, (1.0,), (17.0, 19.5), 0.5),
}


def fits_of(dryer: dict, capacity: float, kinetics: float, flow_m3_min: float, days: float) -> dict[str, BedFit]:
    """Fits to a log whose beds differ from what the plant file stands for."""
    plant = plant_from({**TABLES, "dryer": dryer, "operation": {**TABLES["operation"], "flow_m3_min": flow_m3_min}})

    def other(plant, **given):
        found = dryer_from(plant, **given)
        packing = found.packings[0].with_faults(capacity=capacity, kinetics=kinetics)
        return replace(found, packings=(packing, packing))

    simulation.dryer_from = other
    table, _ = simulation.simulate(plant, days=days, seed=1)
    simulation.dryer_from = dryer_from
    screened = screen(read_log([Upload("log.csv", table.to_csv(index=False).encode())], plant), plant)
    return dict(calibrate(screened, segment(screened, plant), plant))


def holds(fit: BedFit, name: str, true: float) -> bool:
    """Whether what is said of a figure is true of it; what is left out cannot be wrong."""
    if name in fit.values:
        return fit.values[name].low <= true <= fit.values[name].high
    return fit.at_least.get(name, 0.0) <= true


if __name__ == "__main__":
    right = count = 0
    for kind in sys.argv[1:] or CASES:
        dryer, capacities, flows, days = CASES[kind]
        for capacity, kinetics, flow in itertools.product(capacities, (0.5, 1.0, 2.0), flows):
            begun = time.process_time()
            for tower, fit in fits_of(dryer, capacity, kinetics, flow, days).items():
                said = {n: f"{e.value:.2g} [{e.low:.2g}, {e.high:.2g}]" for n, e in fit.values.items()}
                sound = [holds(fit, "capacity", capacity), holds(fit, "kinetics", kinetics)]
                right, count = right + sum(sound), count + len(sound)
                print(
                    kind, flow, "capacity", capacity, "kinetics", kinetics, tower, sound, said, fit.at_least, fit.free
                )
            print(f"    {time.process_time() - begun:.1f} s with the log", flush=True)
    print(f"{right} of {count} hold")
