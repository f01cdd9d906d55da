"""Numbers that stand for "no reading".

Question: which numbers did the logger write because it had none? Input: a channel. Output: the channel with those
missing, and what they were. Method: numbers no such quantity can have, and codes loggers are known to write (a row of
nines, -7999, -200, the ends of integer types) where they stand far off everything else in the channel.
"""

from __future__ import annotations

import numpy as np

from diagnostics.log.record import Floats

_CODES = (
    -99.0, -99.9, -99.99, -999.0, -999.9, -999.99, -9999.0, -9999.9, -99999.0, -999999.0, -99999.9, -7999.0, -6999.0,
    -200.0, -888.0, -888.8, -8888.0, -273.15, -274.0, 99.9, 99.99, 999.0, 999.9, 999.99, 9999.0, 9999.9, 99999.0,
    999999.0, 99999.9, 7999.0, 8888.0, 32767.0, -32768.0, 65535.0, 3276.7, -3276.8, 6553.5, 327.67, -327.68, 655.35,
    2147483647.0, -2147483648.0, 1e20, 9.96921e36, 9.969209968386869e36, 1e36, 1e37, 1e38,
)  # fmt: skip
"""Common practice of loggers and their file formats, no published source."""
POSSIBLE = {
    "dew_point": (-130.0, 100.0),
    "temperature": (-80.0, 500.0),
    "inlet_temperature": (-80.0, 250.0),
    "ambient_temperature": (-70.0, 90.0),
    "pressure": (-1.2, 500.0),
    "flow": (-1e4, 1e5),
    "purge_flow": (-1e4, 1e5),
    "power": (-1e4, 1e5),
    "relative_humidity": (-5.0, 110.0),
    "water_content": (-10.0, 1e6),
    "vapour_pressure": (-1.0, 1e6),
}
"""House units (moistures in their own): beyond it no compressed air and no plant around it goes."""


def without_codes(values: Floats) -> tuple[Floats, dict[float, int]]:
    """Set known codes to missing where they stand far off the rest.

    Parameters
    ----------
    values : ndarray, shape (n,)
        As logged, in the file's own unit.

    Returns
    -------
    ndarray, shape (n,)
    dict of float to int
        Each code that was taken out, and how often it stood there.
    """
    finite = np.isfinite(values)
    known = values if finite.all() else values[finite]
    if known.size < 2:
        return values, {}
    least, most = float(known.min()), float(known.max())
    candidates = [code for code in _CODES if least <= code <= most and (known == code).any()]
    candidates += [v for v in (least, most) if abs(v) >= 1e9 and v not in candidates]
    if not candidates:
        return values, {}
    rest = known[~np.isin(known, candidates)]
    if rest.size == 0:
        # A channel of nothing but -999.9 was never connected; a constant 99 may be a true reading.
        levels = np.unique(known)
        if levels.size == 1 and (levels[0] <= -900.0 or levels[0] >= 9999.0):
            return np.full_like(values, np.nan), {float(levels[0]): int(known.size)}
        return values, {}
    low, high = float(np.quantile(rest, 0.005)), float(np.quantile(rest, 0.995))
    spread = max(high - low, 1e-9)
    found: dict[float, int] = {}
    cleaned = values
    for code in candidates:
        away = max(low - code, code - high)
        nearest = float(np.abs(rest - code).min())
        large = abs(code) > 150.0
        far = away > (1.0 if large else 2.0) * spread and nearest > (0.5 * spread if large else 15.0)
        # A code as round as -99 may be a true end of range; it has to stand alone, by a leap.
        if far and away > (20.0 if not large else 0.05 * abs(code)):
            found[code] = int((known == code).sum())
            cleaned = np.where(cleaned == code, np.nan, cleaned)
    return cleaned, found


def without_impossible(values: Floats, quantity: str) -> tuple[Floats, int]:
    """Set numbers to missing that no such quantity can have, and count them; in house units."""
    bounds = POSSIBLE.get(quantity)
    if bounds is None:
        return values, 0
    with np.errstate(invalid="ignore"):
        if values.size and values.min() >= bounds[0] and values.max() <= bounds[1]:
            return values, 0
        beyond = (values < bounds[0]) | (values > bounds[1])
    count = int(beyond.sum())
    return (np.where(beyond, np.nan, values), count) if count else (values, 0)
