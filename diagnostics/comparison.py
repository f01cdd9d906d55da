"""Does the installed transmitter agree with a portable reference?

Question: by how much do the two differ, at which level, does the difference drift, and is it more than their
uncertainties allow? Input: two screened logs of the same air and their plant files. Output: a `Comparison`. Method:
clock and lag by cross-correlation, difference of pressure dew points at one pressure while the air is quiet, limits of
agreement after Bland and Altman, normalised error after ISO 13528.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from diagnostics.agreement import Agreement, drift_of, intervals, limits_of_agreement, normalised_error, slope_of
from diagnostics.air.humidity import change_pressure, saturation_pressure_pa
from diagnostics.air.uncertainty import budget_in_log
from diagnostics.alignment import Alignment, align, lagged
from diagnostics.errors import InputError
from diagnostics.estimate import Estimate
from diagnostics.log.record import Floats, ScreenedLog
from diagnostics.moment import say_duration, say_time
from diagnostics.plant import Plant

Verdict = Literal["agree", "disagree", "undecided"]
LONGEST_OFFSET_S = 3 * 3600.0
_LEAST_READINGS = 20


@dataclass(frozen=True, slots=True)
class AtLevel:
    """Difference at one level of the reference [K], installed less reference."""

    dew_point_c: float
    bias_k: Estimate
    normalised_error: float
    readings: int


@dataclass(frozen=True)
class Comparison:
    """Installed instrument against a reference.

    Attributes
    ----------
    start_s, end_s : float
        Overlap of the two logs, reference clock [epoch s].
    readings : int
        Pairs compared, and ``agreement.independent`` how many of them count.
    clock_offset_s, lag_s : Estimate or None
    bias_k : Estimate
        Installed less reference while the air is quiet [K].
    limits_k : tuple of Estimate
        Lower and upper limit of agreement [K].
    slope : Estimate or None
        Change of the difference per kelvin of dew point [K/K].
    drift_k_per_day : Estimate or None
    normalised_error : Estimate
        E_n: bias over the root of both expanded uncertainties squared; beyond 1 they disagree.
    verdict : str
    statement, action : str
        What was found and what to do, as sentences.
    """

    start_s: float
    end_s: float
    readings: int
    clock_offset_s: Estimate | None
    lag_s: Estimate | None
    correlation: float
    bias_k: Estimate
    limits_k: tuple[Estimate, Estimate]
    agreement: Agreement
    by_level: tuple[AtLevel, ...]
    slope: Estimate | None
    drift_k_per_day: Estimate | None
    uncertainty_reference_c: float
    uncertainty_installed_c: float
    normalised_error: Estimate
    verdict: Verdict
    probability_of_agreement: float
    statement: str
    action: str
    caution: str
    notes: tuple[str, ...] = ()


def compare(
    reference: ScreenedLog, installed: ScreenedLog, plant_reference: Plant, plant_installed: Plant
) -> Comparison:
    """Hold an installed instrument against a reference that saw the same air.

    Parameters
    ----------
    reference, installed : ScreenedLog
    plant_reference, plant_installed : Plant
        For line pressure and uncertainty of each instrument; may be the same plant.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        If the logs do not overlap, or hold too few readings in common.
    """
    pressure_bar = float(np.median(reference.conditions.pressure_bar))
    grid, step_s, notes = _grid(reference, installed)
    one = _on_grid(reference, grid, step_s, None)
    other = _on_grid(installed, grid, step_s, pressure_bar)
    alignment = align(one, other, step_s, LONGEST_OFFSET_S)
    pairs = _pairs(one, other, grid, step_s, alignment)
    if pairs.difference.size < _LEAST_READINGS:
        raise InputError(
            f"{reference.log.source} and {installed.log.source} have only {pairs.difference.size} usable readings in"
            f" common, {_LEAST_READINGS} are needed; log both for longer at the same time."
        )
    return _judge(pairs, alignment, reference, installed, plant_reference, plant_installed, pressure_bar, tuple(notes))


@dataclass(frozen=True)
class _Pairs:
    time_s: Floats
    reference: Floats
    difference: Floats


def _grid(reference: ScreenedLog, installed: ScreenedLog) -> tuple[Floats, float, list[str]]:
    spans = [(s.log.time_s[0], s.log.time_s[-1], s.log) for s in (reference, installed)]
    start, end = max(s[0] for s in spans), min(s[1] for s in spans)
    step_s = max(reference.log.interval_s, installed.log.interval_s)
    if end - start < _LEAST_READINGS * step_s:
        said = " and ".join(
            f"{log.source} from {say_time(a, log.timezone)} to {say_time(b, log.timezone)}" for a, b, log in spans
        )
        raise InputError(
            f"The logs do not overlap: {said}; log both at the same time, or set site.timezone if only their clocks"
            " differ."
        )
    notes = []
    if (reference.log.timezone is None) != (installed.log.timezone is None):
        notes.append("One log has no known zone; a difference of whole hours between the clocks may come from that.")
    return np.arange(start, end, step_s), step_s, notes


def _on_grid(screened: ScreenedLog, grid: Floats, step_s: float, pressure_bar: float | None) -> Floats:
    """Used readings on the grid; where the nearest reading is more than one and a half steps away, NaN."""
    used = screened.used
    if used.sum() < 2:
        return np.full(grid.size, np.nan)
    time_s, dew_point = screened.log.time_s[used], screened.dew_point_c[used]
    if pressure_bar is not None:
        own = screened.conditions.pressure_bar[used]
        if np.abs(own - pressure_bar).max() > 0.02:
            dew_point = change_pressure(dew_point, own, np.full_like(own, pressure_bar))
    values = np.interp(grid, time_s, dew_point)
    right = np.clip(np.searchsorted(time_s, grid), 1, time_s.size - 1)
    away = np.minimum(np.abs(grid - time_s[right - 1]), np.abs(grid - time_s[right]))
    allowed = 1.5 * max(step_s, screened.log.interval_s)
    return np.where((away <= allowed) & (grid >= time_s[0] - allowed) & (grid <= time_s[-1] + allowed), values, np.nan)


def _pairs(one: Floats, other: Floats, grid: Floats, step_s: float, alignment: Alignment) -> _Pairs:
    """Differences with clock and lag set right, while the reference moves slowly."""
    offset_s = alignment.offset_s.value if alignment.offset_s is not None else 0.0
    lag_s = alignment.lag_s.value if alignment.lag_s is not None else 0.0
    moved = _shifted(other, grid, offset_s)
    reference = lagged(one, lag_s, step_s) if lag_s > 0 else one
    installed = lagged(moved, -lag_s, step_s) if lag_s < 0 else moved
    difference = installed - reference
    known = np.isfinite(difference)
    speed = np.abs(np.gradient(reference))
    quiet = known & np.isfinite(speed)
    if quiet.sum() >= 4 * _LEAST_READINGS:
        quiet &= speed <= np.quantile(speed[quiet], 0.8)
    return _Pairs(grid[quiet], reference[quiet], difference[quiet])


def _shifted(values: Floats, grid: Floats, offset_s: float) -> Floats:
    known = np.isfinite(values)
    if not known.any() or offset_s == 0.0:
        return values
    moved = np.interp(grid + offset_s, grid[known], values[known], left=np.nan, right=np.nan)
    near = np.interp(grid + offset_s, grid, known.astype(float), left=0.0, right=0.0)
    return np.where(near > 0.99, moved, np.nan)


def _judge(
    pairs: _Pairs,
    alignment: Alignment,
    reference: ScreenedLog,
    installed: ScreenedLog,
    plant_reference: Plant,
    plant_installed: Plant,
    pressure_bar: float,
    notes: tuple[str, ...],
) -> Comparison:
    agreement = limits_of_agreement(pairs.difference)
    bias, lower, upper = intervals(agreement, pairs.time_s, pairs.difference)
    level_c = float(np.median(pairs.reference))
    uncertainties = (
        _uncertainty(level_c, reference, plant_reference),
        _uncertainty(level_c, installed, plant_installed),
    )
    error = bias.map(lambda k: normalised_error(k, *uncertainties))
    verdict: Verdict = "undecided"
    if abs(error.value) <= 1 and max(abs(error.low), abs(error.high)) <= 1:
        verdict = "agree"
    elif min(abs(error.low), abs(error.high)) > 1 and error.low * error.high > 0:
        verdict = "disagree"
    probability = _probability_within(error)
    hint = _pressure_hint(pairs, pressure_bar, level_c)
    statement, action = _say(alignment, bias, error, uncertainties, verdict, level_c, hint)
    return Comparison(
        start_s=float(pairs.time_s[0]),
        end_s=float(pairs.time_s[-1]),
        readings=int(pairs.difference.size),
        clock_offset_s=alignment.offset_s,
        lag_s=alignment.lag_s,
        correlation=alignment.correlation,
        bias_k=bias,
        limits_k=(lower, upper),
        agreement=agreement,
        by_level=_by_level(pairs, reference, installed, plant_reference, plant_installed),
        slope=slope_of(pairs.reference - level_c, pairs.difference, least_span=5.0),
        drift_k_per_day=drift_of((pairs.time_s - pairs.time_s[0]) / 86400.0, pairs.difference, least_span_d=0.25),
        uncertainty_reference_c=uncertainties[0],
        uncertainty_installed_c=uncertainties[1],
        normalised_error=error,
        verdict=verdict,
        probability_of_agreement=probability,
        statement=statement,
        action=action,
        caution=_CAUTION,
        notes=notes + (() if hint is None else (hint,)),
    )


def _uncertainty(level_c: float, screened: ScreenedLog, plant: Plant) -> float:
    budget = budget_in_log(level_c, screened, plant)
    return max(budget.expanded_k, 1e-3)


def _probability_within(error: Estimate) -> float:
    """Probability that E_n lies between -1 and 1, the bias being as uncertain as its interval says."""
    spread = max((error.high - error.low) / 3.92, 1e-6)

    def below(x: float) -> float:
        return 0.5 * math.erfc((error.value - x) / spread / math.sqrt(2))

    return below(1.0) - below(-1.0)


def _by_level(
    pairs: _Pairs, reference: ScreenedLog, installed: ScreenedLog, plant_one: Plant, plant_other: Plant
) -> tuple[AtLevel, ...]:
    bins = int(np.clip(np.ptp(pairs.reference) // 5.0, 1, 6))
    edges = np.linspace(pairs.reference.min(), pairs.reference.max() + 1e-9, bins + 1)
    found = []
    for low, high in itertools.pairwise(edges):
        here = (pairs.reference >= low) & (pairs.reference < high)
        if here.sum() < _LEAST_READINGS:
            continue
        bias, _, _ = intervals(limits_of_agreement(pairs.difference[here]))
        level_c = float(np.median(pairs.reference[here]))
        both = _uncertainty(level_c, reference, plant_one), _uncertainty(level_c, installed, plant_other)
        found.append(AtLevel(level_c, bias, normalised_error(bias.value, *both), int(here.sum())))
    return tuple(found)


def _pressure_hint(pairs: _Pairs, pressure_bar: float, level_c: float) -> str | None:
    """Sentence on vapour pressures that stand in the ratio of line to air pressure."""
    ratio = np.log(saturation_pressure_pa(pairs.reference + pairs.difference) / saturation_pressure_pa(pairs.reference))
    middle, spread = float(np.median(ratio)), float(ratio.std())
    line = math.log(pressure_bar / 1.01325)
    if line < 0.3 or abs(abs(middle) - line) > 0.15 * line or spread > 0.2 * line:
        return None
    side = "atmospheric" if middle < 0 else "line"
    return (
        f"The installed instrument shows {math.exp(abs(middle)):.1f} times {'less' if middle < 0 else 'more'} vapour"
        f" pressure at {_level(level_c)}, which is the ratio of line to air pressure: it most likely states its dew"
        " point"
        f" at {side} pressure while the plant file takes the other."
    )


_CAUTION = (
    "At the sampling point: cock closed, rated coupling, never unscrew a bleed fully under pressure, and close the"
    " valve before the probe comes off."
)


def _level(dew_point_c: float) -> str:
    return f"{dew_point_c:.1f} °C".replace("-", "−")


def _difference(kelvin: float) -> str:
    """Difference with its sign; nought has none."""
    return "0.0" if abs(kelvin) < 0.05 else f"{kelvin:+.1f}"


def _say(
    alignment: Alignment,
    bias: Estimate,
    error: Estimate,
    uncertainties: tuple[float, float],
    verdict: Verdict,
    level_c: float,
    hint: str | None,
) -> tuple[str, str]:
    low, high = (_difference(end) for end in (bias.low, bias.high))
    allowed = math.hypot(*uncertainties)
    told = f"{abs(bias.value):.1f} K {'wetter' if bias.value > 0 else 'drier'} than the reference"
    if abs(bias.value) < 0.05:
        told = "the same as the reference within 0.1 K"
    seen = (
        f"Around {_level(level_c)} the installed instrument reads {told} ({low} to {high} K), where their uncertainties"
        f" of ± {uncertainties[1]:.1f} K and ± {uncertainties[0]:.1f} K allow {allowed:.1f} K"
    ).replace("-", "−")
    clock = ""
    if alignment.offset_s is not None and abs(alignment.offset_s.value) > max(
        60.0, alignment.offset_s.high - alignment.offset_s.low
    ):
        ahead = "ahead of" if alignment.offset_s.value > 0 else "behind"
        clock = f" Its clock is {say_duration(abs(alignment.offset_s.value))} {ahead} the reference's."
    if verdict == "agree":
        return f"{seen}: they agree.{clock}", "Keep the installed instrument; note the difference for the next check."
    if verdict == "undecided":
        return (
            f"{seen}: with an error of {abs(error.value):.2f} of what is allowed, this log cannot tell whether they"
            f" agree.{clock}",
            "Compare for longer, a day or more with steady air, before anything is set by this instrument.",
        )
    danger = (
        "It hides wet air: a control or alarm that rests on it acts too late."
        if bias.value < 0
        else "It makes the air look wetter than it is: a control that rests on it regenerates too often."
    )
    action = (
        "Correct the pressure basis at the instrument or in the plant file, then compare again."
        if hint is not None
        else "Have the installed instrument calibrated or replaced, and until then rest no limit and no control on it."
    )
    return f"{seen}: they disagree. {danger}{clock}", action
