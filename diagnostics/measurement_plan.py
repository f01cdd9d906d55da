"""How to measure: where, how often, how long, with which settings, and what must not go wrong.

Question: what should someone do who clips a probe to this dryer tomorrow? Input: the plant, the logger's memory and
battery. Output: `MeasurementPlan`, one line a topic. Method: arithmetic on the half-cycle; the rest is common practice
of the trade, no published source.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from diagnostics.cycle.resolution import READINGS_LEAST, ROUND_INTERVALS_S, logging_interval_s
from diagnostics.errors import InputError
from diagnostics.moment import say_duration
from diagnostics.plant import Plant
from diagnostics.report.figures import BAR_PER_PSI

FULL_CYCLES_WANTED = 10
SHORTEST_H, WEEK_H = 48.0, 168.0
SETTLING_H = 4.0
SAMPLE_FLOW_L_MIN = (1.0, 2.0)

PRESSURE_CAUTION = (
    "Compressed air can injure or kill: wear eye protection, use a coupling rated for the pressure, connect with the"
    " cock closed, open it slowly, close it and let the pressure off before the probe is removed, and never unscrew a"
    " bleed fully under pressure. The site's own rules come first."
)
DRYER_CAUTION = (
    "Keep away from the exhaust silencers, which discharge loudly and without warning, and from heater, pipe and vessel"
    " parts that stay at 150 to 300 °C for hours; wear hearing protection."
)


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One thing to do: topic, instruction, why, its number with unit where it has one, and the caution it needs."""

    topic: str
    instruction: str
    reason: str
    value: float | None = None
    unit: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True)
class MeasurementPlan:
    """How to measure at one dryer.

    Attributes
    ----------
    lines : tuple of PlanLine
        In the order in which they are done.
    interval_s : float
        Step of the logger [s].
    duration_h, shortest_duration_h : float
        Recommended length and the least that answers the question, settling included [h].
    samples : int
        Readings over the recommended length.
    read_outs : int
        Times the logger has to be emptied on the way, for its memory's sake; 0 where it holds all or is not known.
    lacking : tuple of PlanLine or None
        What a log already taken would have needed; None where none was given.
    """

    lines: tuple[PlanLine, ...]
    interval_s: float
    duration_h: float
    shortest_duration_h: float
    samples: int
    read_outs: int = 0
    lacking: tuple[PlanLine, ...] | None = None


def plan_measurement(
    plant: Plant,
    *,
    memory_samples: int | None = None,
    battery_h: float | None = None,
    on: dt.date | None = None,
) -> MeasurementPlan:
    """Plan the measurement.

    Parameters
    ----------
    plant : Plant
    memory_samples : int, optional
        Readings the logger holds.
    battery_h : float, optional
        Hours its battery lasts at this step [h].
    on : date, optional
        Day of the measurement, for the age of the calibration.

    Returns
    -------
    MeasurementPlan

    Raises
    ------
    InputError
        If memory or battery is not above zero.
    """
    if memory_samples is not None and memory_samples < 1:
        raise InputError(f"A logger that holds {memory_samples} readings cannot log; give its memory in readings.")
    if battery_h is not None and not battery_h > 0.0:
        raise InputError(f"A battery of {battery_h:g} h cannot feed a log; give its life in hours.")
    shortest_s, longest_s = _half_cycles(plant)
    towers_h = 2 * FULL_CYCLES_WANTED * longest_s / 3600.0
    duration = math.ceil(max(WEEK_H, towers_h) + SETTLING_H)
    least = math.ceil(max(SHORTEST_H, towers_h) + SETTLING_H)
    interval = _interval_within(shortest_s, duration, memory_samples)
    samples = math.ceil(duration * 3600.0 / interval)
    read_outs = 0 if memory_samples is None else math.ceil(samples / memory_samples) - 1
    lines = (
        *_connection(),
        *_settings(plant),
        *_timing(interval, shortest_s, longest_s, duration, least),
        *_endurance(samples, duration, interval, memory_samples, read_outs, battery_h),
        *_companions(plant),
        *_calibration(plant, on),
        *_ending(plant),
    )
    return MeasurementPlan(lines, interval, float(duration), float(least), samples, read_outs)


def _half_cycles(plant: Plant) -> tuple[float, float]:
    """Shortest half-cycle to resolve and longest to wait for [s]."""
    nameplate = plant.half_cycle_s
    if plant.dryer.control == "fixed":
        return nameplate, nameplate
    shortest, longest = plant.dryer.shortest_half_cycle_s, plant.dryer.longest_half_cycle_s
    return min(nameplate, shortest or nameplate), max(nameplate, longest or nameplate)


def _interval_within(half_cycle_s: float, duration_h: float, memory_samples: int | None) -> float:
    """The wanted step, or a longer one that still resolves the half-cycle where only that fits the memory."""
    wanted = logging_interval_s(half_cycle_s)
    longest = logging_interval_s(half_cycle_s, READINGS_LEAST)
    if memory_samples is None:
        return wanted
    steps = [float(step) for step in ROUND_INTERVALS_S if wanted <= step <= max(longest, wanted)]
    return next((step for step in steps if duration_h * 3600.0 / step <= memory_samples), wanted)


def _connection() -> tuple[PlanLine, ...]:
    low, high = SAMPLE_FLOW_L_MIN
    return (
        PlanLine(
            "where",
            "Sample from the outlet piping behind the after-filter, before any receiver, where air always flows; take"
            " it from the top or side of the pipe.",
            "A dead end or a vessel holds still air, which follows the ambient temperature and hides the towers.",
            caution=PRESSURE_CAUTION,
        ),
        PlanLine(
            "sample line",
            "Use a short tube of stainless steel or PTFE, leak-tested under pressure; no rubber or plastic hose.",
            "Other hoses let ambient moisture in and give it off for hours.",
        ),
        PlanLine(
            "sample flow",
            f"Let the sample flow that the instrument's instructions ask for, commonly {low:g} to {high:g} l/min, out"
            " to ambient through the outlet screw while the cell stays at line pressure.",
            "Too little leaves the old air in the cell, too much lowers the pressure there.",
            low,
            "l/min",
        ),
        PlanLine(
            "around the dryer",
            "Note the timer's setting, which tower dries, and any alarm; open nothing on the dryer.",
            "The log cannot tell which vessel on the floor is which.",
            caution=DRYER_CAUTION,
        ),
    )


def _settings(plant: Plant) -> tuple[PlanLine, ...]:
    atmospheric = plant.measurement.basis == "atmospheric"
    gauge = plant.measurement.pressure_bar_g
    assert gauge is not None  # filled when the plant is read
    barometer = plant.site.barometric_pressure_bar
    given = plant.is_given("measurement.pressure_bar_g") or plant.is_given("operation.pressure_bar_g")
    psi = f"{gauge / BAR_PER_PSI:.0f} psi gauge"
    bar = f"{gauge:g} bar gauge ({gauge + barometer:.2f} bar absolute, {psi}{'' if given else ', assumed'})"
    return (
        PlanLine(
            "basis",
            "Log the pressure dew point, over ice (frost point) below 0 °C."
            if not atmospheric
            else "The plant file says atmospheric dew point: keep the cell at that pressure throughout, or better"
            " log the pressure dew point and change measurement.basis.",
            "Pressure and atmospheric dew point lie 10 to 20 K apart, ice and water up to 4 K.",
        ),
        PlanLine(
            "pressure",
            f"Read the line pressure at the sampling point and enter it at the instrument in its unit; the plant"
            f" file has {bar}.",
            "10 % wrong in absolute pressure is 0.8 K at −40 °C wherever the instrument converts.",
            gauge,
            "bar g",
        ),
        PlanLine(
            "clock",
            "Set the logger's clock to local time and note its zone; do not change it on the way.",
            "Switchovers are matched to seconds, loads to shifts.",
        ),
        PlanLine(
            "settling",
            f"Expect minutes to hours until the probe has dried down to the line; {SETTLING_H:g} h are allowed for, and"
            " what is still settling is set aside.",
            "Sensor and tube give off the moisture they took up in the open; the drier the air, the longer.",
            SETTLING_H,
            "h",
        ),
    )


def _timing(
    interval: float, shortest_s: float, longest_s: float, duration: float, least: float
) -> tuple[PlanLine, ...]:
    readings = shortest_s / interval
    enough = readings >= READINGS_LEAST
    return (
        PlanLine(
            "interval",
            f"Log a reading every {interval:g} s.",
            f"That is {readings:.0f} readings in a half-cycle of {say_duration(shortest_s)};"
            + (f" {READINGS_LEAST} or more show its shape." if enough else " even so too few to show its shape."),
            interval,
            "s",
            ""
            if shortest_s > 600.0
            else "The probe may dry down more slowly than this half-cycle lasts; the swing shown is a lower bound.",
        ),
        PlanLine(
            "duration",
            f"Log for {duration:g} h ({say_duration(3600.0 * duration)}), a whole week with its shifts and weekend;"
            f" {least:g} h is the least.",
            f"Both towers have to be seen {FULL_CYCLES_WANTED} times at half-cycles of up to {say_duration(longest_s)},"
            " at every usual load.",
            duration,
            "h",
        ),
    )


def _endurance(
    samples: int, duration: float, interval: float, memory: int | None, read_outs: int, battery_h: float | None
) -> tuple[PlanLine, ...]:
    lines = []
    if memory is None:
        held = f"Check that the logger holds {samples:,} readings; switch ring memory off."
    elif read_outs == 0:
        held = f"The logger's {memory:,} readings hold the {samples:,} of this log; switch ring memory off."
    else:
        every = memory * interval
        times = "once" if read_outs == 1 else f"{read_outs} times"
        held = f"Read the logger out every {say_duration(every)} at the latest, {times} on the way."
    lines.append(
        PlanLine("memory", held, "A full memory stops or overwrites the log.", float(samples), "readings"),
    )
    if battery_h is None or battery_h < duration:
        lasts = "" if battery_h is None else f" Its battery lasts {battery_h:g} h."
        lines.append(
            PlanLine(
                "battery",
                f"Feed the logger from the mains or change the battery in time for {duration:g} h.{lasts}",
                "An empty battery ends the log unseen.",
                duration,
                "h",
            )
        )
    return tuple(lines)


def _companions(plant: Plant) -> tuple[PlanLine, ...]:
    wanted = (
        ("flow", "the load, and with it margin and saving", "operation.flow_m3_min"),
        ("inlet temperature", "the water that enters, which doubles every 11 K", "operation.inlet_temperature_c"),
        ("pressure", "the load, and the short dips at each switchover", "measurement.pressure_bar_g"),
        ("tower signal", "which vessel dries, to the second", ""),
    )
    missing = [(name, why) for name, why, key in wanted if not key or not plant.is_given(key)]
    return (
        PlanLine(
            "log beside it",
            "Log on the same clock and step, or at least note once a shift: flow, inlet temperature, pressure and"
            " the tower signal.",
            "; ".join(f"{name}: {why}" for name, why in missing).capitalize() + ".",
        ),
    )


def _calibration(plant: Plant, on: dt.date | None) -> tuple[PlanLine, ...]:
    calibrated, months = plant.measurement.calibrated_on, plant.measurement.calibration_interval_months
    if calibrated is None:
        said = f"Look up the date of the last calibration; it should be no older than {months:g} months."
        return (PlanLine("calibration", said, "Drift goes into the uncertainty.", months, "months"),)
    age = ((on or dt.datetime.now(dt.UTC).date()) - calibrated).days / 30.4375
    said = f"The calibration of {calibrated.isoformat()} is {age:.0f} months old, within its {months:g}."
    if age > months:
        said = f"Have the probe calibrated first: the last was on {calibrated.isoformat()}, {age:.0f} months ago."
    return (PlanLine("calibration", said, "Drift goes into the uncertainty.", round(age, 1), "months"),)


def _level(dew_point_c: float) -> str:
    return f"{dew_point_c:g} °C".replace("-", "−")


def _ending(plant: Plant) -> tuple[PlanLine, ...]:
    limit = plant.dryer.dew_point_limit_c
    lines = [
        PlanLine(
            "stop and report",
            f"If the dew point stays above the limit of {_level(limit)} after settling, rises for hours, or water or"
            " oil shows at the cock, close the cock and tell whoever answers for the air before going on.",
            "Wet or oily air ruins the probe and may already be harming the process.",
            limit,
            "°C",
        ),
        PlanLine(
            "removal",
            "Note the time, close the cock, let the pressure off, then remove and cap the probe; save the file.",
            "The last readings are of ambient air and are set aside.",
            caution=PRESSURE_CAUTION,
        ),
    ]
    if plant.site.air_use in ("medical", "breathing"):
        lines.insert(
            0,
            PlanLine(
                "people breathe this air",
                "Connect only if the person responsible for the air agrees, and change no setting of the dryer.",
                "The supply must not be interrupted or contaminated.",
            ),
        )
    return tuple(lines)
