"""How the readings are distributed: every channel as logged, and the same without what was set aside.

Averages of dew point are plain averages of the shown values, as people expect of statistics; the average in moisture
stands beside them as ``moisture_mean_dew_point_c``, since only moisture mixes linearly.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diagnostics.air.humidity import dew_point_c
from diagnostics.log.record import Flags, Floats, Log, ScreenedLog

_KEYS = {
    "dew_point": "dew_point_c",
    "temperature": "temperature_c",
    "pressure": "pressure_bar_g",
    "flow": "flow_m3_min",
    "inlet_temperature": "inlet_temperature_c",
    "ambient_temperature": "ambient_temperature_c",
    "purge_flow": "purge_flow_m3_min",
    "power": "power_kw",
}


def statistics(log: Log) -> dict[str, dict[str, float]]:
    """Distribution of every channel as logged.

    Parameters
    ----------
    log : Log
        Basis and phase of the dew point stay as they were logged.

    Returns
    -------
    dict of str to dict of str to float
        ``min``, ``max``, ``mean``, ``median``, ``p05``, ``p95`` by channel, units in the channel's key; channels
        without a valid reading and the tower signal are left out.
    """
    return _of_channels(log.channels, np.ones(log.samples, dtype=bool))


def used_statistics(screened: ScreenedLog) -> dict[str, dict[str, float]]:
    """Distribution of the used readings, dew point at line pressure.

    Parameters
    ----------
    screened : ScreenedLog

    Returns
    -------
    dict of str to dict of str to float
        As `statistics`; ``dew_point_c`` also holds ``moisture_mean_dew_point_c``, the dew point of the mean moisture
        at the mean line pressure [degC].
    """
    channels = dict(screened.log.channels)
    channels["dew_point"] = screened.dew_point_c
    described = _of_channels(channels, screened.used)
    moisture = screened.moisture[screened.used]
    moisture = moisture[np.isfinite(moisture)]
    if moisture.size and "dew_point_c" in described:
        pressure = float(np.mean(screened.conditions.pressure_bar[screened.used]))
        described["dew_point_c"]["moisture_mean_dew_point_c"] = float(dew_point_c(float(moisture.mean()), pressure))
    return described


def _of_channels(channels: Mapping[str, Floats], rows: Flags) -> dict[str, dict[str, float]]:
    described = {}
    for quantity, key in _KEYS.items():
        if quantity in channels:
            values = channels[quantity][rows]
            values = values[np.isfinite(values)]
            if values.size:
                described[key] = _describe(values)
    return described


def _describe(values: Floats) -> dict[str, float]:
    p05, median, p95 = np.percentile(values, (5, 50, 95))
    return {
        "min": float(values.min()),
        "max": float(values.max()),
        "mean": float(values.mean()),
        "median": float(median),
        "p05": float(p05),
        "p95": float(p95),
    }
