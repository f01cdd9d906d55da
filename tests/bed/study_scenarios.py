"""Every scenario simulated and diagnosed: is found what the recipe says, and nothing else?

Run with ``python -m tests.bed.study_scenarios [NAME ...]``; a few recipes are part of the suite.
"""

from __future__ import annotations

import sys
import tomllib

import numpy as np

import scenarios
from diagnostics.bed.simulation import simulate
from diagnostics.diagnosis import diagnose
from diagnostics.log.reading import read_log
from diagnostics.log.record import Upload
from diagnostics.plant import plant_from


def outcome(recipe: scenarios.Recipe) -> tuple[set[str], set[str], float, float]:
    """Findings missing and findings too many, median distance of switchovers and the half-cycle, both in seconds."""
    plant = plant_from(tomllib.loads(scenarios.plant_text(recipe.plant)))
    table, truth = simulate(
        plant,
        days=recipe.days,
        seed=recipe.seed,
        faults=recipe.faults,
        interval_s=recipe.interval_s,
        channels=recipe.channels,
    )
    diagnosis = diagnose(read_log([Upload("log.csv", table.to_csv(index=False).encode())], plant), plant)
    found = {finding.code for finding in diagnosis.findings}
    due = set(recipe.findings)
    true = np.array([at for at, _ in truth["switchovers"]])
    seen = diagnosis.cycle.half_cycles["start_s"].to_numpy(float)[1:]
    offsets = np.abs(seen[:, None] - true[None, :]).min(axis=1)
    offset_s = float(np.median(offsets)) if offsets.size else np.inf
    return due - found, found - due - set(recipe.also), offset_s, float(truth["half_cycle_s"])


if __name__ == "__main__":
    known = scenarios.recipes()
    for name in sys.argv[1:] or known:
        missing, beyond, offset_s, half_cycle_s = outcome(known[name])
        print(
            f"{name:28} missing {sorted(missing)} beyond {sorted(beyond)} offset {offset_s:.0f} of {half_cycle_s:.0f} s"
        )
