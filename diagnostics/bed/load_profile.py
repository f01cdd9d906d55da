"""What the plant asks of its dryer over days: shifts, weekends, fluctuation, inlet air by day and season.

Question: flow, inlet temperature, pressure and room temperature at any minute? Input: the plant file's typical values
and a seed. Method: a shift pattern around the typical flow, a fluctuation with a memory of some minutes, temperatures
that follow the day (warmest at 15 h) and the year (warmest in late July). Invented, for a plant that works two shifts.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from diagnostics.bed.column import Array
from diagnostics.bed.twin import Conditions
from diagnostics.bed.vessel import FREE_AIR_KG_M3
from diagnostics.moment import zone_of
from diagnostics.plant import Plant

_FLUCTUATION = 0.05
_MEMORY_S = 900.0
_SHIFTS = ((6, 1.08), (14, 1.02), (22, 0.86))
_WEEKEND = 0.7
_MINUTE_S = 60.0


@dataclass(frozen=True)
class LoadProfile:
    """Conditions minute by minute from `start_s` on.

    Attributes
    ----------
    start_s : float
        Epoch seconds of the first minute.
    flow_m3_min, inlet_c, pressure_bar, room_c : array
        Entering air (purge included, 20 degC, 1 bar, dry), inlet and room temperature, absolute line pressure.
    running : array of bool
    inlet_dew_point_c : float
        Cap on the inlet's dew point; inf where the air enters saturated.
    """

    start_s: float
    flow_m3_min: Array
    inlet_c: Array
    pressure_bar: Array
    room_c: Array
    running: np.ndarray
    inlet_dew_point_c: float

    def at(self, time_s: float) -> Conditions:
        """Conditions at an instant (epoch seconds), held over its minute."""
        i = min(max(int((time_s - self.start_s) // _MINUTE_S), 0), len(self.flow_m3_min) - 1)
        return Conditions(
            feed_kg_s=float(self.flow_m3_min[i]) / 60.0 * FREE_AIR_KG_M3,
            inlet_k=float(self.inlet_c[i]) + 273.15,
            inlet_dew_point_k=self.inlet_dew_point_c + 273.15,
            line_pa=float(self.pressure_bar[i]) * 1e5,
            room_k=float(self.room_c[i]) + 273.15,
            running=bool(self.running[i]),
        )

    def mean(self) -> Conditions:
        """Conditions of the mean."""
        return Conditions(
            feed_kg_s=float(self.flow_m3_min[self.running].mean()) / 60.0 * FREE_AIR_KG_M3,
            inlet_k=float(self.inlet_c.mean()) + 273.15,
            inlet_dew_point_k=self.inlet_dew_point_c + 273.15,
            line_pa=float(self.pressure_bar.mean()) * 1e5,
            room_k=float(self.room_c.mean()) + 273.15,
        )


def load_profile(
    plant: Plant, start_s: float, duration_s: float, seed: int, *, steady: bool = False, intermittent: bool = False
) -> LoadProfile:
    """Draw a load profile around the plant file's typical values.

    Parameters
    ----------
    plant : Plant
        ``operation`` gives the typical values; 65 % of the rating, 28 degC and 22 degC where it is silent.
    start_s, duration_s : float
        Epoch seconds, seconds.
    seed : int
    steady : bool
        Without shifts, days and fluctuation.
    intermittent : bool
        Whether air flows only while the compressor is loaded, in stretches of minutes.

    Returns
    -------
    LoadProfile
    """
    operation, dryer = plant.operation, plant.dryer
    minutes = int(np.ceil(duration_s / _MINUTE_S)) + 1
    rng = np.random.default_rng([seed, 11])
    flow = operation.flow_m3_min if operation.flow_m3_min is not None else 0.65 * (dryer.rated_flow_m3_min or 10.0)
    inlet = operation.inlet_temperature_c if operation.inlet_temperature_c is not None else 28.0
    room = operation.ambient_temperature_c if operation.ambient_temperature_c is not None else 22.0
    dew = operation.inlet_dew_point_c if operation.inlet_dew_point_c is not None else np.inf
    pressure = (operation.pressure_bar_g or dryer.rated_pressure_bar_g) + plant.site.barometric_pressure_bar
    ones = np.ones(minutes)
    running = np.ones(minutes, bool)
    if steady:
        return LoadProfile(start_s, flow * ones, inlet * ones, pressure * ones, room * ones, running, dew)
    hours, weekday, year_share = _local_clock(start_s, minutes, plant.site.timezone)
    shape = np.where(hours < _SHIFTS[0][0], _SHIFTS[2][1], _SHIFTS[0][1])
    for hour, share in _SHIFTS[1:]:
        shape = np.where(hours >= hour, share, shape)
    shape = np.where(weekday >= 5, _WEEKEND, shape)
    shape = np.convolve(np.pad(shape, 10, mode="edge"), np.ones(21) / 21.0, mode="valid")
    noise = _memory_noise(rng, minutes, _MEMORY_S / _MINUTE_S)
    if intermittent:
        running = _loaded_minutes(rng, minutes)
    day = np.cos(2.0 * np.pi * (hours - 15.0) / 24.0)
    season = np.cos(2.0 * np.pi * (year_share - 0.56))
    season = season - season[0]
    return LoadProfile(
        start_s,
        np.where(running, np.maximum(flow * shape * (1.0 + _FLUCTUATION * noise), 0.02 * flow), 0.0),
        inlet + 1.2 * day + 4.0 * season + 0.3 * _memory_noise(rng, minutes, 30.0),
        np.maximum(pressure + 0.05 * _memory_noise(rng, minutes, 3.0), 1.5),
        room + 1.5 * day + 6.0 * season,
        running,
        dew,
    )


def _local_clock(start_s: float, minutes: int, timezone: str | None) -> tuple[Array, np.ndarray, Array]:
    first = dt.datetime.fromtimestamp(start_s, zone_of(timezone) or dt.UTC)
    elapsed = first.hour + first.minute / 60.0 + np.arange(minutes) / 60.0
    days = np.floor(elapsed / 24.0).astype(int)
    year = (first.timetuple().tm_yday + elapsed / 24.0) / 365.25
    return elapsed % 24.0, (first.weekday() + days) % 7, year


def _memory_noise(rng: np.random.Generator, count: int, memory: float) -> Array:
    """Unit-variance noise with a memory of so many steps."""
    keep = float(np.exp(-1.0 / memory))
    drawn = (rng.standard_normal(count) * np.sqrt(1.0 - keep * keep)).tolist()
    value = float(rng.standard_normal())
    values = []
    for kick in drawn:
        value = keep * value + kick
        values.append(value)
    return np.array(values)


def _loaded_minutes(rng: np.random.Generator, count: int) -> np.ndarray:
    """Alternating stretches under load (6 to 20 minutes) and at rest (2 to 12 minutes)."""
    running = np.empty(count, bool)
    at, loaded = 0, True
    while at < count:
        length = int(rng.integers(6, 21) if loaded else rng.integers(2, 13))
        running[at : at + length] = loaded
        at, loaded = at + length, not loaded
    return running
