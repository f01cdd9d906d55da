"""Does the slope's interval hold, and is a trend that load or season fakes called decay?

Run ``python -m tests.health.study_trend 200``. Peaks are drawn from a known slope, load, day and noise
(`tests.health.peak_logs`); half of the logs have half-cycles of minutes, half of hours.
"""

from __future__ import annotations

import sys

import numpy as np

from diagnostics.health.trend import peak_trend
from tests.health.peak_logs import peak_log


def _drawn(seed: int) -> dict[str, float | bool]:
    rng = np.random.default_rng([seed, 41])
    return {
        "days": float(rng.choice([3.0, 5.0, 7.0, 14.0, 30.0])),
        "half_cycle_s": 300.0 if seed % 2 else 14400.0,
        "memory_h": float(rng.choice([0.0, 1.0, 3.0, 8.0])),
        "noise_k": float(rng.choice([0.2, 0.5, 1.0])),
        "daily_k": float(rng.choice([0.0, 0.5, 1.0])),
        "load_k": float(rng.choice([0.0, 5.0, 10.0])),
    }


def main() -> None:
    """Print the table."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    held, found, faked, quiet, widths = [], [], [], [], []
    for seed in range(number):
        drawn = _drawn(seed)
        slope = float(np.random.default_rng([seed, 42]).choice([0.1, 0.3, 0.6, 1.0]))
        trend = peak_trend(*peak_log(seed, slope_k_d=slope, **drawn))
        if trend.peak_dew_point_c_per_day is not None:
            got = trend.peak_dew_point_c_per_day
            held.append(got.low <= slope <= got.high)
            widths.append(0.5 * (got.high - got.low) * float(drawn["days"]))
        if slope * float(drawn["days"]) >= 3.0:
            found.append(trend.verdict == "rising")
        drawn["load_k"] = max(float(drawn["load_k"]), 5.0)
        drift = 0.3 / float(drawn["days"])
        faked.append(peak_trend(*peak_log(seed + 5000, load_drift=drift, **drawn)).verdict == "rising")
        quiet.append(peak_trend(*peak_log(seed + 9000, **drawn)).verdict == "rising")
    print(
        f"slope's 95 % interval holds in {np.mean(held):.1%} of {len(held)}; half-width {np.median(widths):.2f} K a log"
    )
    print(f"rise of 3 K and more over the log found in {np.mean(found):.1%} of {len(found)}")
    print(f"a load that grew by a third called decay in {np.mean(faked):.1%} of {number}")
    print(f"no trend at all called decay in {np.mean(quiet):.1%} of {number}")


if __name__ == "__main__":
    main()
