"""The reader: one dryer's log files become one `Log`."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from diagnostics.errors import InputError
from diagnostics.log.record import Column, Floats, Log
from diagnostics.plant import Plant

_TITLES = {
    "dew_point": ("dew point",),
    "inlet_temperature": ("inlet temperature",),
    "ambient_temperature": ("ambient temperature",),
    "temperature": ("air temperature", "temperature"),
    "pressure": ("pressure",),
    "purge_flow": ("purge",),
    "flow": ("flow",),
    "tower": ("tower",),
    "power": ("power",),
}
_UNITS = {"dew_point": "degC", "pressure": "bar_g", "flow": "m3/min", "power": "kW"}


def read_log(
    paths: str | Path | Sequence[str | Path],
    plant: Plant,
    *,
    columns: Mapping[str, str] | None = None,
    progress: Callable[[str], None] | None = None,
    moisture_required: bool = True,
) -> Log:
    """Read one dryer's log files.

    Parameters
    ----------
    paths : path or sequence of paths
    plant : Plant
        For the site's zone.
    columns : mapping of str to str, optional
        Quantity to column title.
    progress : callable, optional
        Called with the name of each step as it begins.
    moisture_required : bool
        False lets a log without a dew point pass.

    Returns
    -------
    Log

    Raises
    ------
    InputError
        If a file cannot be read as a log.
    """
    names = [paths] if isinstance(paths, str | Path) else list(paths)
    if progress is not None:
        progress("reading the log")
    tables = []
    digest = hashlib.sha256()
    for name in names:
        try:
            content = Path(name).read_bytes()
        except OSError as error:
            raise InputError(f"{name} cannot be read ({error.strerror}); check the path.") from None
        digest.update(content)
        tables.append(pd.read_csv(io.BytesIO(content)))
    table = pd.concat(tables, ignore_index=True)
    wanted = {title: quantity for quantity, title in (columns or {}).items()}
    stamp = next((t for t in table.columns if wanted.get(t) == "time" or "time" in t.lower()), table.columns[0])
    local = pd.to_datetime(table[stamp], errors="coerce")
    table = table[local.notna()]
    zone = plant.site.timezone
    times = pd.DatetimeIndex(local.dropna())
    times = times.tz_localize(zone or "UTC", ambiguous="NaT", nonexistent="shift_forward").tz_convert("UTC")
    time_s = np.asarray(times.as_unit("ns").asi8, dtype=np.float64) / 1e9
    time_s, first = np.unique(time_s, return_index=True)
    channels: dict[str, Floats] = {}
    found: dict[str, Column] = {}
    other: dict[str, Floats] = {}
    for title in table.columns.drop(stamp):
        values = pd.to_numeric(table[title], errors="coerce").to_numpy(dtype=np.float64)[first]
        low = title.lower()
        quantity = wanted.get(title) or next(
            (q for q, words in _TITLES.items() if q not in channels and any(w in low for w in words)), None
        )
        if quantity is None:
            other[title] = values
            continue
        channels[quantity] = values
        found[quantity] = Column(title, _UNITS.get(quantity, "degC"))
    if moisture_required and "dew_point" not in channels:
        raise InputError(f"{names[0]}: no dew point column; name it with --column dew_point=TITLE.")
    return Log(
        source=", ".join(Path(n).name for n in names),
        time_s=time_s,
        channels=channels,
        columns=found,
        timezone=zone,
        interval_s=float(np.median(np.diff(time_s))) if time_s.size > 1 else 0.0,
        other=other,
        rows_dropped=int(local.isna().sum()),
        sha256=digest.hexdigest(),
    )
