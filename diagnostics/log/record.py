"""What the room of the log hands on: the table as read, and the same table with what is not the dryer's air set aside.

A missing reading is NaN. Times are seconds since 1970-01-01 UTC; a log whose zone is unknown is laid on UTC and says so
by ``timezone=None``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diagnostics.quantities import COLUMN_QUANTITIES

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

QUANTITIES = tuple(quantity for quantity in COLUMN_QUANTITIES if quantity not in ("time", "date"))
"""Channels a log may hold. House units: degC, degC, bar gauge, m3/min (20 degC, 1 bar, dry), degC, degC, 0/1, m3/min,
kW."""


@dataclass(frozen=True, slots=True)
class Upload:
    """A log that is not a file on disk: its name and its bytes."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Column:
    """Where a channel came from: the title as it stands in the file and the unit its numbers were read in."""

    header: str
    unit: str


@dataclass(frozen=True, slots=True)
class ClockJump:
    """Stamps that repeat or go back; ``explained`` when the zone's own rule says so (end of summer time)."""

    time_s: float
    step_s: float
    explained: bool


@dataclass(frozen=True)
class Log:
    """One dryer's log as read, ascending in time, nothing set aside yet.

    Attributes
    ----------
    source : str
        File name or names, for people.
    time_s : ndarray, shape (n,)
        Epoch seconds UTC, strictly ascending.
    channels : mapping of str to ndarray, shape (n,)
        Keys from `QUANTITIES`; ``dew_point`` [degC] with the basis and phase as logged.
    columns : mapping of str to Column
    timezone : str or None
        IANA name or fixed offset like ``+02:00``.
    interval_s : float
        Usual step between readings [s].
    other : mapping of str to ndarray
        Further numeric columns by title, so that a rhythm can be taken from one of them.
    moisture_unit : str
        Unit of the moisture channel before it became a dew point.
    moisture_basis : str
        ``as_logged``: ``dew_point`` has the instrument's basis and phase; ``line``: it was reckoned from another
        moisture quantity and is the frost point (over ice below 0 degC) at line pressure already.
    titled_basis : str or None
        ``pressure`` or ``atmospheric`` where the dew point's title says what it refers to.
    rows_dropped, cells_missing : int
        Rows without a readable stamp; cells whose text was no number.
    rows_repeated : int
        Rows set aside because their time is covered already; not in ``time_s``.
    notes : tuple of str
        Every decision the reader made, as sentences.
    sha256 : str
        Digest of the bytes read.
    """

    source: str
    time_s: Floats
    channels: Mapping[str, Floats]
    columns: Mapping[str, Column]
    timezone: str | None
    interval_s: float
    other: Mapping[str, Floats] = field(default_factory=dict)
    moisture_unit: str = "degC"
    moisture_basis: Literal["as_logged", "line"] = "as_logged"
    titled_basis: Literal["pressure", "atmospheric"] | None = None
    rows_dropped: int = 0
    rows_repeated: int = 0
    cells_missing: int = 0
    clock_jumps: tuple[ClockJump, ...] = ()
    notes: tuple[str, ...] = ()
    sha256: str = ""

    @property
    def samples(self) -> int:
        """Rows with a readable stamp."""
        return int(self.time_s.size)


@dataclass(frozen=True, slots=True)
class Exclusion:
    """A stretch that is not the dryer's air; reason is one of the contract's words."""

    start_s: float
    end_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class Sign:
    """Evidence met while screening that a finding may rest on.

    ``code`` is the finding it speaks for, ``numbers`` what was measured (unit in each key's last word).
    """

    code: str
    start_s: float
    end_s: float
    confidence: float
    sentence: str
    numbers: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Conditions:
    """What the dryer was given, reading by reading, from channels or else the plant file's typical values.

    Attributes
    ----------
    pressure_bar : ndarray, shape (n,)
        Line pressure [bar abs].
    inlet_temperature_c, flow_m3_min : ndarray, shape (n,), or None
        None where neither log nor plant file says.
    moisture_load_g_min : ndarray, shape (n,), or None
        Water entering the dryer [g/min].
    logged : frozenset of str
        Which of flow, inlet_temperature, pressure came from the log.
    """

    pressure_bar: Floats
    inlet_temperature_c: Floats | None
    flow_m3_min: Floats | None
    moisture_load_g_min: Floats | None
    logged: frozenset[str] = frozenset()


@dataclass(frozen=True)
class ScreenedLog:
    """A log with its dew point at line pressure over ice, and what is not the dryer's air set aside.

    Attributes
    ----------
    dew_point_c : ndarray, shape (n,)
        Pressure dew point (frost point below 0 degC) at line pressure; NaN where missing.
    moisture : ndarray, shape (n,)
        Mole fraction of water in the moist air [mol/mol]; averages are taken in this.
    used : ndarray of bool, shape (n,)
        True where the reading is valid and in no exclusion.
    exclusions : tuple of Exclusion
        Ascending in time.
    signs : tuple of Sign
    resolution_c : float
        Step of the logged dew point's last digit [K].
    basis : str or None
        ``pressure`` or ``atmospheric``: what the logged dew point referred to, by the plant file or else by its title;
        None where nobody looked.
    """

    log: Log
    dew_point_c: Floats
    moisture: Floats
    used: Flags
    exclusions: tuple[Exclusion, ...]
    conditions: Conditions
    signs: tuple[Sign, ...] = ()
    resolution_c: float = 0.0
    notes: tuple[str, ...] = ()
    basis: Literal["pressure", "atmospheric"] | None = None
