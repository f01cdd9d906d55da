"""What a portable dew point probe makes of the air: the separate last step between dryer and log.

Question: which reading stands in the log when the air has this moisture? Inputs: moisture and air temperature against
time. Output: readings. Method: everything that lags or mixes is linear in moisture; the dew point is formed at the end.

* Sample line and probe: a first-order lag that grows towards dry air (walls and polymer give water off slowly), faster
  when wetting than when drying; the figures are from memory of the trade, no published source.
* Receiver: a mixing volume upstream of the sampling point.
* Wall of the sample line: on its way the air gives up, or takes on, a share of what parts it from the wall, and the
  wall follows the air slowly (one reservoir, linear). That is the slow tail after every change; a polymer hose has much
  of it, a short steel tube next to none.
* Dry-down after clipping on: a fast exponential and a slow tail on top of the air's moisture.
* Then bias, noise, resolution, holds for self-calibration.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.air.humidity import dew_point_c, moisture_fraction
from diagnostics.bed.column import Array

_DRIEST = 1e-9


@dataclass(frozen=True)
class Instrument:
    """Probe, sample line and logger.

    Attributes
    ----------
    wetting_s, drying_s : float
        Time constants at -40 degC [s].
    growth_per_k : float
        Relative growth of both per kelvin towards dry air.
    receiver_s : float
        Residence time of a mixing volume before the probe [s]; 0 without.
    bias_k, noise_k, resolution_k : float
    settling : tuple of float or None
        Moisture ratio at clipping on over the air's, fast and slow time constants [s], share of the slow tail.
    hold_every_s, hold_s : float
        Self-calibration: the value stands still for `hold_s`; 0 for none.
    range_c : tuple of float
    ingress : float
        Share of ambient air that leaks into the sample [-].
    wall_share, wall_s : float
        How much of the difference between air and wall the sample line levels out [-], and how fast its wall follows
        [s]; nought for a wall that takes up nothing.
    wall_starts_wet : float or None
        Moisture the wall is in equilibrium with when the probe is clipped on [-]; None for a line that was in use.
    """

    wetting_s: float = 10.0
    drying_s: float = 35.0
    growth_per_k: float = 0.03
    receiver_s: float = 0.0
    bias_k: float = 0.0
    noise_k: float = 0.04
    resolution_k: float = 0.01
    settling: tuple[float, float, float, float] | None = None
    hold_every_s: float = 0.0
    hold_s: float = 0.0
    range_c: tuple[float, float] = (-100.0, 20.0)
    ingress: float = 0.0
    wall_share: float = 0.0
    wall_s: float = 3600.0
    wall_starts_wet: float | None = None


def sensed_moisture(
    time_s: Array, moisture: Array, instrument: Instrument, pressure_bar: float, *, clipped_on_s: float | None = None
) -> Array:
    """Moisture the sensor feels, given what flows past the sampling point.

    Parameters
    ----------
    time_s : array
        Ends of the steps over which `moisture` is the mean [s].
    moisture : array
        Mole fraction of water [-].
    instrument : Instrument
    pressure_bar : float
        Absolute line pressure [bar].
    clipped_on_s : float, optional
        When the probe was clipped on, if it has to dry down; the first instant if not given.

    Returns
    -------
    array
        Mole fraction at the same instants.
    """
    steps = np.diff(time_s, prepend=time_s[0] - (time_s[1] - time_s[0]) if len(time_s) > 1 else time_s[0] - 1.0)
    air = np.maximum(moisture, _DRIEST)
    if instrument.receiver_s > 0.0:
        air = _lagged(air, steps, np.full_like(air, instrument.receiver_s), np.full_like(air, instrument.receiver_s))
    if instrument.wall_share > 0.0:
        air = _along_the_wall(air, steps, instrument)
    dew = dew_point_c(air, pressure_bar)
    growth = np.exp(np.clip(-instrument.growth_per_k * (dew + 40.0), -3.0, 3.0))
    sensed = _lagged(air, steps, instrument.wetting_s * growth, instrument.drying_s * growth)
    if instrument.settling is not None:
        excess, fast_s, slow_s, slow_share = instrument.settling
        since = np.maximum(time_s - (time_s[0] if clipped_on_s is None else clipped_on_s), 0.0)
        fade = (1.0 - slow_share) * np.exp(-since / fast_s) + slow_share * np.exp(-since / slow_s)
        sensed = sensed + excess * sensed[0] * fade
    return sensed


def _along_the_wall(air: Array, steps: Array, instrument: Instrument) -> Array:
    """Moisture at the line's end: y - b (y - w), dw/dt = (y - w) / T; the wall is taken midway through each step."""
    start = instrument.wall_starts_wet
    start = float(air[0]) if instrument.wall_starts_wet is None else instrument.wall_starts_wet
    follow_s = np.full_like(air, instrument.wall_s)
    after = _lagged(air, steps, follow_s, follow_s, start)
    wall = 0.5 * (np.concatenate(([start], after[:-1])) + after)
    return air - instrument.wall_share * (air - wall)


def _lagged(air: Array, steps: Array, wetting_s: Array, drying_s: Array, start: float | None = None) -> Array:
    rising = (1.0 - np.exp(-steps / np.maximum(wetting_s, 1e-3))).tolist()
    falling = (1.0 - np.exp(-steps / np.maximum(drying_s, 1e-3))).tolist()
    felt = float(air[0]) if start is None else start
    out = []
    for x, up, down in zip(air.tolist(), rising, falling, strict=True):
        apart = x - felt
        felt += apart * (up if apart > 0.0 else down)
        out.append(felt)
    return np.array(out)


def readings_c(
    sample_s: Array, time_s: Array, sensed: Array, instrument: Instrument, pressure_bar: float, rng: np.random.Generator
) -> Array:
    """Dew points as the probe shows them at `sample_s` [degC, at line pressure, frost point below 0 degC]."""
    moisture = np.interp(sample_s, time_s, sensed)
    dew = np.asarray(dew_point_c(np.clip(moisture, _DRIEST, 0.05), pressure_bar))
    shown = dew + instrument.bias_k + instrument.noise_k * rng.standard_normal(len(dew))
    shown = np.clip(shown, *instrument.range_c)
    if instrument.hold_every_s > 0.0:
        shown = _held(sample_s, shown, instrument)
    return np.round(np.round(shown / instrument.resolution_k) * instrument.resolution_k, 6)


def _held(sample_s: Array, shown: Array, instrument: Instrument) -> Array:
    phase = (sample_s - sample_s[0]) % instrument.hold_every_s
    holding = (phase < instrument.hold_s) & (sample_s - sample_s[0] >= instrument.hold_every_s)
    last = np.maximum.accumulate(np.where(~holding, np.arange(len(shown)), 0))
    return shown[last]


def moisture_of(dew_c: Array | float, pressure_bar: float) -> Array:
    """Mole fraction [-] of a pressure dew point [degC]."""
    return np.asarray(moisture_fraction(dew_c, pressure_bar))
