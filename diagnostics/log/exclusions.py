"""Every stretch that is not the dryer's air, with its reason, in the order in which one hides the other.

Question: what is set aside, and why? Input: a log and its dew point at line pressure. Output: exclusions, signs and
the mask that is left. Order: numbers that are no dew point, single spikes, removal, a sample that stood
still, the range's end, frozen readings, settling; each looks only at what the ones before have left.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from diagnostics.log.basis import AtLinePressure
from diagnostics.log.holes import find_gaps
from diagnostics.log.quiet import Quiet, find_quiet
from diagnostics.log.record import Exclusion, Flags, Floats, Log, Sign
from diagnostics.log.removal import find_removals
from diagnostics.log.settling import find_settling
from diagnostics.log.stuck import find_frozen, find_range_end, single_spikes
from diagnostics.log.unseen_turns import find_unseen_turns
from diagnostics.moment import say_duration, say_time
from diagnostics.plant import Plant

_TEMPERATURE_K = 3.0
_COARSE_K = 0.5
_NO_LOAD = 0.1
"""Of the usual flow: then nobody takes air, and what stands still is the plant, not the sample."""


@dataclass
class Sieve:
    """What is left while one cause after another is taken out."""

    log: Log
    line: AtLinePressure
    plant: Plant
    resolution: float
    left: Flags
    load: Floats | None = None
    exclusions: list[Exclusion] = field(default_factory=list)
    signs: list[Sign] = field(default_factory=list)

    @property
    def rows(self) -> NDArray[np.intp]:
        """Rows still in use."""
        return np.flatnonzero(self.left)

    def take(self, rows: NDArray[np.intp], reason: str, bridge: int = 1) -> None:
        """Set rows aside; spans are joined over up to ``bridge`` rows between them."""
        if rows.size == 0:
            return
        for group in np.split(rows, np.flatnonzero(np.diff(rows) > bridge) + 1):
            times = self.log.time_s
            self.exclusions.append(Exclusion(float(times[group[0]]), float(times[group[-1]]), reason))
            self.left[group[0] : group[-1] + 1] = False

    def say(self, code: str, span: tuple[float, float], confidence: float, sentence: str, **numbers: float) -> None:
        """Keep a sign."""
        self.signs.append(Sign(code, span[0], span[1], confidence, sentence, numbers))


def set_aside(log: Log, line: AtLinePressure, plant: Plant, resolution: float, load: Floats | None = None) -> Sieve:
    """Sieve a log.

    Parameters
    ----------
    log : Log
    line : AtLinePressure
    plant : Plant
    resolution : float
        Step of the logged dew point's last digit, 0 where unknown.
    load : ndarray, shape (n,), optional
        Logged flow, without holes [m3/min].

    Returns
    -------
    Sieve
        ``exclusions`` ascending in time, ``left`` the readings that may be judged.
    """
    sieve = Sieve(log, line, plant, resolution, np.isfinite(line.dew_point_c), load)
    sieve.exclusions += find_gaps(log.time_s, sieve.left, log.interval_s)
    _no_dew_point(sieve)
    _spikes(sieve)
    removed = _removals(sieve)
    _stagnant(sieve)
    kept = _range_end(sieve)
    _frozen(sieve, kept)
    _settling(sieve, removed)
    _above_temperature(sieve)
    _clock(sieve)
    sieve.exclusions.sort(key=lambda e: (e.start_s, e.end_s))
    return sieve


def _no_dew_point(sieve: Sieve) -> None:
    logged = sieve.log.channels["dew_point"]
    sieve.take(np.flatnonzero(np.isfinite(logged) & ~np.isfinite(sieve.line.dew_point_c)), "implausible")


def _range_end(sieve: Sieve) -> tuple[float, ...]:
    """Set readings at an end of the range aside, but for those that prove a passed limit; returns the latter's values.

    At the wet end the air is at least as wet as shown: where that is wetter than the limit, leaving it out would
    flatter the dryer.
    """
    kept = []
    limit_c = sieve.plant.dryer.dew_point_limit_c
    rows = sieve.rows
    values = sieve.log.channels["dew_point"][rows]
    for end in find_range_end(values, sieve.resolution):
        at = rows[values == end]
        span = (float(sieve.log.time_s[at[0]]), float(sieve.log.time_s[at[-1]]))
        sentence = f"{at.size} readings sit at exactly {end:g} °C, the end of the instrument's range."
        proof = end > float(np.median(values)) and float(sieve.line.dew_point_c[at].min()) > limit_c
        if proof:
            sentence += (
                " The true values are wetter still; they count as shown, so what is said of wet air is too mild."
            )
        sieve.say("sensor_range_end", span, 0.9, sentence, value_c=end, share=at.size / max(rows.size, 1))
        if proof:
            kept.append(end)
        else:
            sieve.take(at, "range_end")
    return tuple(kept)


def _frozen(sieve: Sieve, spared: tuple[float, ...]) -> None:
    rows = sieve.rows
    values = sieve.log.channels["dew_point"][rows]
    time_s = sieve.log.time_s
    runs = [run for run in find_frozen(values, sieve.resolution) if run.value not in spared]
    if sieve.resolution >= _COARSE_K:
        # Within a half-cycle the air itself may stay in one coarse digit; at a turn it cannot.
        turn_s = 1.1 * sieve.plant.half_cycle_s
        runs = [run for run in runs if time_s[rows[run.last]] - time_s[rows[run.first]] > turn_s]
    for run in runs:
        sieve.take(rows[run.first : run.last + 1], "frozen", bridge=rows.size)
    if runs:
        lengths = np.array([time_s[rows[r.last]] - time_s[rows[r.first]] for r in runs])
        starts = np.array([time_s[rows[r.first]] for r in runs])
        steps = np.diff(starts)
        regular = len(runs) >= 4 and float(np.std(steps)) < 0.1 * float(np.mean(steps))
        how = f", every {say_duration(float(np.mean(steps)))} as in a self-calibration" if regular else ""
        sentence = (
            f"The reading stands still {len(runs)} time{'s' if len(runs) > 1 else ''}, for up to"
            f" {say_duration(float(lengths.max()))}{how}, first from {say_time(float(starts[0]), sieve.log.timezone)}"
            f" at {runs[0].value:g} °C."
        )
        span = (float(starts[0]), float(starts[-1] + lengths[-1]))
        sieve.say("sensor_frozen", span, 0.9, sentence, longest_s=float(lengths.max()), holds=float(len(runs)))
    elif rows.size > 60 and float(np.ptp(values)) == 0.0:
        coarse = float(values[0]).is_integer()
        span = (float(time_s[rows[0]]), float(time_s[rows[-1]]))
        sentence = f"All {rows.size} readings show {values[0]:g} °C."
        sieve.say("sensor_frozen", span, 0.5 if coarse else 0.85, sentence, longest_s=span[1] - span[0])


def _spikes(sieve: Sieve) -> None:
    rows = sieve.rows
    spikes = single_spikes(sieve.line.dew_point_c[rows], sieve.log.interval_s)
    sieve.take(rows[spikes], "implausible")


def _removals(sieve: Sieve) -> list[int]:
    rows = sieve.rows
    log = sieve.log
    pressure = log.channels.get("pressure")
    found = find_removals(
        log.time_s[rows],
        log.channels["dew_point"][rows],
        None if pressure is None else pressure[rows],
        sieve.plant.half_cycle_s,
    )
    for removal in found:
        taken = rows[removal.first : removal.last + 1]
        span = (float(log.time_s[taken[0]]), float(log.time_s[taken[-1]]))
        before = sieve.line.dew_point_c[rows[max(0, removal.first - 1)]]
        top = float(log.channels["dew_point"][taken].max())
        sentence = (
            f"From {say_time(span[0], log.timezone)} the reading jumps from {before:.1f} °C to {top:.1f} °C within"
            " seconds, as room air reads: the probe was off the line."
        )
        sieve.say("unsettled", span, removal.confidence, sentence, jump_k=top - float(before))
        sieve.take(taken, "removal", bridge=rows.size)
    return [int(rows[r.last]) + 1 for r in found if r.last + 1 < rows.size]


def _stagnant(sieve: Sieve) -> None:
    rows, log, dryer = sieve.rows, sieve.log, sieve.plant.dryer
    block_s = max(2.0 * sieve.plant.half_cycle_s, dryer.longest_half_cycle_s or 0.0, 20.0 * log.interval_s)
    time_s, dew_point_c = log.time_s[rows], sieve.line.dew_point_c[rows]
    for quiet in find_quiet(time_s, dew_point_c, block_s, sieve.resolution):
        sentence = (
            f"the ripple of the towers is gone ({quiet.ripple_k:.2f} K against {quiet.usual_k:.2f} K before and after)"
            f" while the reading creeps by {quiet.creep_k:.1f} K."
        )
        _say_stagnant(sieve, rows, quiet, sentence)
    for quiet in find_unseen_turns(time_s, dew_point_c, sieve.plant.half_cycle_s):
        sentence = (
            f"no turn of the towers shows, each of which raises the reading by {quiet.usual_k:.1f} K before and after;"
            f" the reading creeps by {quiet.creep_k:.1f} K, and the turns come on the beat of before, so the dryer went"
            " on meanwhile."
        )
        _say_stagnant(sieve, rows, quiet, sentence)


def _say_stagnant(sieve: Sieve, rows: NDArray[np.intp], quiet: Quiet, sentence: str) -> None:
    taken = rows[quiet.first : quiet.last + 1]
    if sieve.load is not None and float(np.median(sieve.load[taken])) < _NO_LOAD * float(np.median(sieve.load)):
        return
    span = (float(sieve.log.time_s[taken[0]]), float(sieve.log.time_s[taken[-1]]))
    when = f"From {say_time(span[0], sieve.log.timezone)} to {say_time(span[1], sieve.log.timezone)} "
    sieve.say("sample_stagnant", span, 0.85, when + sentence, ripple_k=quiet.ripple_k, usual_ripple_k=quiet.usual_k)
    sieve.take(taken, "stagnant", bridge=rows.size)


def _settling(sieve: Sieve, removed: list[int]) -> None:
    log, line = sieve.log, sieve.line
    starts = [0, *removed]
    starts += [int(np.searchsorted(log.time_s, e.end_s)) for e in sieve.exclusions if _long_gap(e, log)][:20]
    for start in sorted(set(starts)):
        rows = sieve.rows
        earlier = line.dew_point_c[rows[rows < start]] if start else None
        rows = rows[rows >= start]
        if rows.size < 20 or (start and earlier is not None and earlier.size < 5):
            continue
        if start not in removed and start > 0 and rows[0] > start + 3:
            continue
        settled = find_settling(
            log.time_s[rows],
            line.dew_point_c[rows],
            line.moisture[rows],
            sieve.plant.half_cycle_s,
            earlier_c=earlier,
            load=None if sieve.load is None else sieve.load[rows],
        )
        if settled is None:
            continue
        first = float(log.time_s[rows[0]])
        taken = rows[log.time_s[rows] <= settled.end_s]
        sieve.take(taken, "settling", bridge=rows.size)
        sieve.exclusions[-1] = Exclusion(first, settled.end_s, "settling")
        length = settled.end_s - first
        how = "is settled after" if settled.complete else "is not settled at the end of the log, after"
        sentence = (
            f"The reading falls by {settled.fall_k:.0f} K from {say_time(first, log.timezone)} as a probe dries down"
            f" and {how} {say_duration(length)}."
        )
        sieve.say("unsettled", (first, settled.end_s), 0.9, sentence, fall_k=settled.fall_k, settling_s=length)


def _long_gap(exclusion: Exclusion, log: Log) -> bool:
    return exclusion.reason == "gap" and exclusion.end_s - exclusion.start_s > max(600.0, 5.0 * log.interval_s)


def _above_temperature(sieve: Sieve) -> None:
    """Readings wetter than the gas's own temperature allows, where they are the exception."""
    gas = sieve.log.channels.get("temperature")
    if gas is None:
        return
    above = sieve.left & (_compared(sieve.line.dew_point_c, gas) > _TEMPERATURE_K)
    if 0 < above.sum() <= 0.02 * sieve.left.sum():
        sieve.take(np.flatnonzero(above), "implausible", bridge=2)


def _compared(dew_point_c: Floats, gas_c: Floats) -> Floats:
    return np.where(np.isfinite(dew_point_c) & np.isfinite(gas_c), dew_point_c - gas_c, -np.inf)


def _clock(sieve: Sieve) -> None:
    log = sieve.log
    for jump in log.clock_jumps:
        when = say_time(jump.time_s, log.timezone)
        back = say_duration(-jump.step_s)
        what = f"go back by {back}" if jump.step_s < 0 else "repeat"
        why = "the end of summer time explains it" if jump.explained else "no rule of the zone explains it"
        start = jump.time_s + min(jump.step_s, 0.0)
        sieve.say("clock_jump", (start, jump.time_s), 0.95, f"At {when} the stamps {what}; {why}.", step_s=jump.step_s)
        if not jump.explained and -0.1 * (log.time_s[-1] - log.time_s[0]) < jump.step_s < -log.interval_s:
            inside = np.flatnonzero((log.time_s >= start) & (log.time_s <= jump.time_s))
            sieve.take(inside, "clock_jump", bridge=log.samples)
