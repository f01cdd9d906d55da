"""Small logs made on the spot, for tests of the paths around the judgement: reading, writing, showing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

PLANT = """
[site]
name = "Gannet Quay Joinery"
timezone = "Europe/Lisbon"

[dryer]
regeneration = "heatless"
rated_flow_m3_min = 10.0
half_cycle_s = 300
dew_point_limit_c = -40.0

[operation]
flow_m3_min = 5.0
inlet_temperature_c = 30.0
hours_per_year = 8000

[compressor]
specific_power_kw_per_m3_min = 6.5
control = "load_unload"

[economics]
currency = "EUR"
electricity_price_per_kwh = 0.15
retrofit_cost = 5000.0
"""


def saw_tooth(days: float = 2.0, interval_s: float = 30.0, half_cycle_s: float = 300.0, seed: int = 5) -> pd.DataFrame:
    """A log with a clear timer: a drop at each switchover, a slow rise after it, noise on top."""
    rng = np.random.default_rng(seed)
    seconds = np.arange(0.0, days * 86400.0, interval_s)
    since = np.mod(seconds - 70.0, half_cycle_s)
    level = -58.0 + 1.5 * (since / half_cycle_s) ** 2 + 1.0 * np.exp(-since / 30.0)
    stamps = pd.Timestamp("2026-03-02 08:00:00") + pd.to_timedelta(seconds, unit="s")
    return pd.DataFrame({"Time": stamps, "Dew point [°C]": np.round(level + rng.normal(0, 0.05, level.size), 2)})


def write_example(folder: Path) -> tuple[Path, Path]:
    """Write log and plant file; returns their paths."""
    log, plant = folder / "log.csv", folder / "plant.toml"
    saw_tooth().to_csv(log, index=False)
    plant.write_text(PLANT, encoding="utf-8")
    return log, plant
