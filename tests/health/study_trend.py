"""Does the slope's interval hold, and is a trend that load, season or weather fakes called decay?

Run ``python -m tests.health.study_trend 200``. Peaks are drawn from a known slope, load, day and noise
(`tests.health.peak_logs`); half of the logs have half-cycles of minutes, half of hours. A season drifts the inlet by
0.05 to 0.2 K a day beside weather of 1 to 2 K, and the peaks follow it by 0.3 to 1.5 K a kelvin, with and without a
channel.
"""

from __future__ import annotations

import sys

import numpy as np

from diagnostics.health.trend import may_be_season, peak_trend
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


def _called_decay(seed: int, season: dict[str, float | bool], drawn: dict[str, float | bool], slope: float) -> bool:
    """Whether a rise is put down to the desiccant alone, as the finding does with a confidence of a half and more."""
    screened, cycle, plant = peak_log(seed, slope_k_d=slope, **(drawn | season))
    trend = peak_trend(screened, cycle, plant)
    found = trend.peak_dew_point_c_per_day
    if trend.verdict != "rising" or found is None:
        return False
    return not may_be_season(screened, found.value, float(drawn["days"]))


def _seasons(number: int) -> None:
    """Print how often a season or the weather passes for decay, and how often decay beside them is seen."""
    for logged in (True, False):
        faked, found = [], []
        for seed in range(number):
            drawn = _drawn(seed) | {"days": float(np.random.default_rng([seed, 44]).choice([7.0, 14.0, 21.0, 30.0]))}
            rng = np.random.default_rng([seed, 45])
            season: dict[str, float | bool] = {
                "season_k_d": float(rng.uniform(0.05, 0.2)),
                "weather_k": float(rng.uniform(1.0, 2.0)),
                "peak_per_kelvin": float(rng.uniform(0.3, 1.5)),
                "inlet_logged": logged,
            }
            faked.append(_called_decay(seed + 13000, season, drawn, 0.0))
            found.append(_called_decay(seed + 13000, season, drawn, 12.0 / float(drawn["days"])))
        told = "logged" if logged else "not logged"
        print(f"season and weather, inlet temperature {told}: called decay in {np.mean(faked):.1%} of {number};")
        print(f"  12 K of decay over the log beside them called decay in {np.mean(found):.1%}")


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
    _seasons(number)


if __name__ == "__main__":
    main()
