"""How well the comparison of two instruments recovers what was put in: pairs with known clock, lag, bias, drift.

Run ``python -m tests.study_comparison 60``. The air is that of the second plant, heatless and heated in turn, the
probes have noise and slow wandering of their own; each figure is counted as held where its 95 % interval has the truth.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from diagnostics.alignment import lagged
from diagnostics.comparison import Comparison, compare
from diagnostics.log.record import ScreenedLog
from diagnostics.plant import plant_from
from tests.health.cases import screened_log
from tests.second_plant import second_plant

PLANT = plant_from({"measurement": {"uncertainty_c": 1.0}})


def _wandering(rng: np.random.Generator, n: int, step_s: float, memory_s: float) -> np.ndarray:
    from scipy.signal import lfilter

    keep = np.exp(-step_s / memory_s)
    drawn = rng.standard_normal(n + 4000) * np.sqrt(1 - keep**2)
    return np.asarray(lfilter([1], [1, -keep], drawn))[4000:]


def pair(seed: int) -> tuple[ScreenedLog, ScreenedLog, dict[str, float]]:
    """A reference, an installed instrument that saw the same air, and what was done to it."""
    rng = np.random.default_rng([seed, 31])
    heated = seed % 2 == 1
    step_s = 60.0 if heated else 20.0
    table, _ = second_plant(seed, kind="heated" if heated else "heatless", days=3.0, interval_s=step_s, swing=0.2)
    air = table["Dew point [°C]"].to_numpy(float)
    truth = {
        "clock_offset_s": float(step_s * rng.integers(-60, 61)) if seed % 3 else 0.0,
        "lag_s": float(rng.choice([0.0, 0.0, 120.0, 300.0, 600.0])),
        "bias_k": float(rng.uniform(-4.0, 4.0)),
        "drift_k_per_day": float(rng.choice([0.0, 0.0, -0.6, 0.4, 0.8])),
    }
    reach = 4000 // int(step_s)
    shift = round(truth["clock_offset_s"] / step_s)
    seen = lagged(air, truth["lag_s"], step_s)
    n = air.size - 2 * reach
    days = np.arange(n) * step_s / 86400.0
    own = [0.05 * rng.standard_normal(n) + 0.1 * _wandering(rng, n, step_s, 3 * 3600.0) for _ in range(2)]
    reference = air[reach : reach + n] + own[0]
    drift = truth["drift_k_per_day"] * (days - days.mean())
    installed = seen[reach - shift : reach - shift + n] + truth["bias_k"] + drift + own[1]
    logs = [screened_log(np.round(v, 2), interval_s=step_s) for v in (reference, installed)]
    return logs[0], logs[1], truth


def held(found: Comparison, truth: dict[str, float]) -> dict[str, tuple[bool, float, float] | None]:
    """Whether each interval has the truth, its error and its half-width; None where nothing was said."""
    result: dict[str, tuple[bool, float, float] | None] = {}
    for name, true in truth.items():
        estimate = getattr(found, name)
        result[name] = (
            None
            if estimate is None
            else (estimate.low <= true <= estimate.high, estimate.value - true, 0.5 * (estimate.high - estimate.low))
        )
    return result


def main() -> None:
    """Print the table."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    rows: dict[str, list[tuple[bool, float, float] | None]] = {}
    for seed in range(number):
        reference, installed, truth = pair(seed)
        found = compare(replace(reference), installed, PLANT, PLANT)
        for name, item in held(found, truth).items():
            rows.setdefault(name, []).append(item)
            if item is not None and not item[0] and "-v" in sys.argv:
                print(seed, name, f"true {truth[name]:.2f} error {item[1]:+.3f} half-width {item[2]:.3f}", truth)
    print(f"{'figure':18}{'said':>6}{'held':>7}{'median error':>14}{'median half-width':>19}")
    for name, items in rows.items():
        said = [item for item in items if item is not None]
        share = np.mean([item[0] for item in said])
        error, width = np.median([abs(item[1]) for item in said]), np.median([item[2] for item in said])
        print(f"{name:18}{len(said):6}{share:7.0%}{error:14.3f}{width:19.3f}")


if __name__ == "__main__":
    main()
