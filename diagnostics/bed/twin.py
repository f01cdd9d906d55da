"""Two vessels in turn: one dries, the other is regenerated, through as many half-cycles as wanted.

Question: what leaves the dryer, minute by minute? Inputs: a `Dryer` and the conditions at its inlet. Output: moisture
and temperature of the leaving air and what each vessel did. Method: both beds march as one row of cells (`march`), the
purge being what leaves the drying bed; depressurising and refilling pass the stored gas through the bed, face by face.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from diagnostics.bed.column import (
    REFERENCE_K,
    Array,
    BedState,
    Passage,
    Stream,
    enthalpy_of,
    mixing_ratio,
    temperature_of,
    uniform_state,
    vapour_pressure,
)
from diagnostics.bed.isotherm import saturation_over_water_pa
from diagnostics.bed.march import Row
from diagnostics.bed.vessel import Dryer, Phase

_EXHAUST_ENDS_K = 373.15
_AMBIENT_HUMIDITY = 0.6
_LEAST_FEED_SHARE = 1e-3
_REFRESH = 6


@dataclass(frozen=True)
class Conditions:
    """Air at the dryer's inlet and around it.

    Attributes
    ----------
    feed_kg_s : float
        Dry air entering, purge included [kg/s].
    inlet_k, inlet_dew_point_k : float
    line_pa : float
        Absolute [Pa].
    room_k : float
    running : bool
        False while no air flows and the timer that counts running time stands.
    liquid_share : float
        Liquid water carried in, as a multiple of the vapour [-].
    """

    feed_kg_s: float
    inlet_k: float
    inlet_dew_point_k: float
    line_pa: float
    room_k: float = 295.15
    running: bool = True
    liquid_share: float = 0.0

    @property
    def inlet_ratio(self) -> float:
        """Mixing ratio of the entering air [kg/kg], saturated at its dew point or its temperature."""
        dew = min(self.inlet_k, self.inlet_dew_point_k)
        vapour = float(mixing_ratio(saturation_over_water_pa(np.array(dew)), self.line_pa))
        return (1.0 + self.liquid_share) * vapour


@dataclass
class Outlet:
    """The leaving air and the purge, step by step; lists of arrays that `joined` and `purge_kg_s` concatenate."""

    end_s: list[Array] = field(default_factory=list)
    ratio: list[Array] = field(default_factory=list)
    temperature_k: list[Array] = field(default_factory=list)
    purged: list[Array] = field(default_factory=list)

    def purge_kg_s(self) -> Array:
        """Dried air that regeneration takes in each step, depressurisations apart [kg/s]."""
        return np.concatenate(self.purged)

    def joined(self) -> tuple[Array, Array, Array]:
        """Times at the end of each step [s], mixing ratio [kg/kg], temperature [K]."""
        return np.concatenate(self.end_s), np.concatenate(self.ratio), np.concatenate(self.temperature_k)


@dataclass
class Twin:
    """State of a running dryer.

    Attributes
    ----------
    dryer : Dryer
    beds : list of BedState
        A and B, cells from the wet end to the dry end.
    drying : int
        0 while A dries.
    phase_index, phase_elapsed_s : where the other vessel's regeneration stands.
    elapsed_s : float
        Since the switchover.
    purged_kg : float
        Dried air let out for regeneration so far [kg], depressurisations apart.
    drained_kg : float
        Water that ran off as liquid so far [kg].
    """

    dryer: Dryer
    beds: list[BedState]
    drying: int = 0
    elapsed_s: float = 0.0
    phase_index: int = 0
    phase_elapsed_s: float = 0.0
    step_s: float = 5.0
    last_ratio: float = 1e-6
    last_passage: Passage | None = None
    purged_kg: float = 0.0
    drained_kg: float = 0.0

    @property
    def phase(self) -> Phase:
        """The regenerating vessel's present phase; a wait once all are done."""
        if self.phase_index < len(self.dryer.phases):
            return self.dryer.phases[self.phase_index]
        return Phase("standby", np.inf)

    def to_phase_end(self) -> float:
        """Time left in the present phase [s]."""
        return self.phase.duration_s - self.phase_elapsed_s

    def switch(self) -> None:
        """Let the towers change duty."""
        self.drying = 1 - self.drying
        self.elapsed_s = self.phase_elapsed_s = 0.0
        self.phase_index = 0

    def advance(self, conditions: Conditions, duration_s: float, outlet: Outlet, now_s: float) -> float:
        """Run under constant conditions, across phases but not across a switchover.

        Returns
        -------
        float
            Mixing ratio of the air leaving at the end [kg/kg].
        """
        left = duration_s
        while left > 1e-6:
            part = min(left, self.to_phase_end())
            if part > 1e-6:
                self._run(conditions, part, outlet, now_s + duration_s - left)
            left -= part
            self.elapsed_s += part
            self.phase_elapsed_s += part
            if self.to_phase_end() <= 1e-6 or self._hot_enough():
                self.phase_index += 1
                self.phase_elapsed_s = 0.0
        return self.last_ratio

    def stand(self, duration_s: float, outlet: Outlet, now_s: float) -> None:
        """Let time pass without air: beds, valves and a timer that counts running time stand still."""
        held = outlet.temperature_k[-1][-1:] if outlet.temperature_k else np.array([REFERENCE_K])
        outlet.end_s.append(np.array([now_s + duration_s]))
        outlet.ratio.append(np.array([self.last_ratio]))
        outlet.temperature_k.append(held)
        outlet.purged.append(np.zeros(1))

    def _hot_enough(self) -> bool:
        passage = self.last_passage
        return (
            self.dryer.exhaust_ends_heating
            and self.phase.state == "regenerating"
            and passage is not None
            and float(passage.temperature_k[-1, 1]) > _EXHAUST_ENDS_K
        )

    def _run(self, conditions: Conditions, duration_s: float, outlet: Outlet, start_s: float) -> None:
        dryer, on, off = self.dryer, self.drying, 1 - self.drying
        feed = max(conditions.feed_kg_s, _LEAST_FEED_SHARE * dryer.rated_kg_s)
        drying = Stream(feed, conditions.inlet_ratio, conditions.inlet_k, conditions.line_pa, conditions.inlet_k + 5.0)
        resting = self._resting_stream(conditions, feed, off)
        row = Row((dryer.packings[on], dryer.packings[off]), (drying, resting), conditions.room_k)
        along = self._cools_from_wet_end(off)
        beds = (self.beds[on], self.beds[off].copy() if along else self.beds[off].reversed())
        state = BedState(
            np.concatenate([b.loading for b in beds]),
            np.concatenate([b.enthalpy for b in beds]),
            np.concatenate([b.wall_k for b in beds]),
        )
        passage = row.march(state, duration_s, self.step_s, refresh=1 if dryer.heated else _REFRESH)
        self.drained_kg += _drained(state, row)
        purging = self.phase.state in ("regenerating", "cooling") and resting.ratio is None
        purge = float(np.mean(resting.flow_kg_s)) if purging and dryer.regeneration != "heat_of_compression" else 0.0
        self.purged_kg += purge * duration_s
        n = row.n
        self.beds[on] = BedState(state.loading[:n], state.enthalpy[:n], state.wall_k[:n])
        rested = BedState(state.loading[n:], state.enthalpy[n:], state.wall_k[n:])
        self.beds[off] = rested if along else rested.reversed()
        steps = len(passage.ratio)
        since = self.elapsed_s + duration_s * np.arange(1, steps + 1) / steps
        seats = dryer.seat_leak_share * (1.0 + dryer.unseated * np.exp(-since / dryer.seating_s))
        leak = np.minimum(seats + dryer.bypass_share, 1.0)
        ratio = (1.0 - leak) * np.maximum(passage.ratio[:, 0], 0.0) + leak * conditions.inlet_ratio
        outlet.end_s.append(start_s + duration_s * np.arange(1, steps + 1) / steps)
        outlet.ratio.append(ratio)
        outlet.temperature_k.append(passage.temperature_k[:, 0])
        outlet.purged.append(np.full(steps, purge))
        self.last_ratio = float(ratio[-1])
        self.last_passage = passage

    def _resting_stream(self, conditions: Conditions, feed: float, off: int) -> Stream:
        dryer, line_pa = self.dryer, conditions.line_pa
        cells = dryer.packings[off].cells
        along = (np.arange(cells) + 0.5) / cells
        stored = dryer.stored_kg(line_pa)
        match self.phase.state:
            case "depressurising":
                flow = stored / self.phase.duration_s * along
                mid = float(np.sqrt(line_pa * dryer.regenerating_pa))
                return Stream(flow, self.last_ratio, conditions.inlet_k, mid, conditions.inlet_k)
            case "repressurising":
                flow = np.minimum(stored / self.phase.duration_s, 0.5 * feed) * (1.0 - along)
                mid = 0.5 * (line_pa + dryer.regenerating_pa)
                return Stream(flow, None, None, mid, conditions.inlet_k)
            case "regenerating":
                return self._regenerating(conditions, feed, off)
            case "cooling":
                return self._cooling(conditions, feed, off)
        return Stream(0.0, self.last_ratio, conditions.inlet_k, line_pa, conditions.inlet_k)

    def _cools_from_wet_end(self, off: int) -> bool:
        """Whether room air cools the bed: it enters at the wet end, so that its moisture stays there."""
        no_purge = self.dryer.purge_kg_s * self.dryer.purge_factor[off] == 0.0
        return self.phase.state == "cooling" and no_purge and self.dryer.regeneration != "heat_of_compression"

    def _purge(self, conditions: Conditions, feed: float, off: int) -> float:
        return min(self.dryer.purge_at(conditions.line_pa, off), 0.9 * feed)

    def _heated_to(self, flow: float, from_k: float, off: int) -> float:
        dryer = self.dryer
        rise = dryer.heater_w / max(flow * 1007.0, 1e-9)
        return from_k + dryer.heater_factor[off] * max(min(dryer.heater_ceiling_k, from_k + rise) - from_k, 0.0)

    def _regenerating(self, conditions: Conditions, feed: float, off: int) -> Stream:
        dryer, low = self.dryer, self.dryer.regenerating_pa
        if dryer.regeneration == "heatless":
            return Stream(self._purge(conditions, feed, off), None, None, low, conditions.inlet_k)
        if dryer.regeneration == "heat_of_compression":
            hot = self._heated_to(feed, conditions.inlet_k, off)
            return Stream(feed, conditions.inlet_ratio, hot, conditions.line_pa, 350.0)
        if dryer.blower_kg_s:
            flow = dryer.blower_kg_s * dryer.purge_factor[off]
            return Stream(
                flow, self._ambient_ratio(conditions), self._heated_to(flow, conditions.room_k, off), low, 370.0
            )
        flow = self._purge(conditions, feed, off)
        return Stream(flow, None, self._heated_to(flow, conditions.inlet_k + 5.0, off), low, 370.0)

    def _cooling(self, conditions: Conditions, feed: float, off: int) -> Stream:
        dryer, low = self.dryer, self.dryer.regenerating_pa
        if dryer.regeneration == "heat_of_compression":
            return Stream(0.1 * feed, None, None, conditions.line_pa, 330.0)
        flow = self._purge(conditions, feed, off)
        if flow > 0.0:
            return Stream(flow, None, None, low, 330.0)
        flow = dryer.blower_kg_s * dryer.purge_factor[off]
        return Stream(flow, self._ambient_ratio(conditions), conditions.room_k, low, 330.0)

    def _ambient_ratio(self, conditions: Conditions) -> float:
        vapour = _AMBIENT_HUMIDITY * saturation_over_water_pa(np.array(conditions.room_k))
        return float(mixing_ratio(vapour, self.dryer.regenerating_pa))


def _drained(state: BedState, row: Row) -> float:
    """Let liquid run off: beads hold what fills their pores, which is the loading at saturation.

    Condensate beyond it gathers below the bed and leaves with the next blow-down. Generic alumina holds 0.49 kg/kg at
    saturation, a pore volume of 0.5 cm3/g is published (Serbezov 2003, J. Chem. Eng. Data 48, 421).
    """
    kelvin = temperature_of(row.desiccant, state.loading, state.enthalpy)
    full = row.capacity * row.desiccant.isotherm.loading(saturation_over_water_pa(kelvin), kelvin)
    beyond = np.maximum(state.loading - full, 0.0)
    if not beyond.any():
        return 0.0
    state.loading = state.loading - beyond
    state.enthalpy = enthalpy_of(row.desiccant, state.loading, kelvin)
    return float(beyond @ row.cell_kg)


def first_guess(dryer: Dryer, conditions: Conditions) -> list[BedState]:
    """Beds loaded at the wet end and dry at the other, as they are after some days of duty."""
    states = []
    for packing in dryer.packings:
        inlet_pa = float(vapour_pressure(conditions.inlet_ratio, conditions.line_pa))
        depth = np.linspace(0.0, 1.0, packing.cells)
        pa = inlet_pa * np.exp(-12.0 * depth) * (0.9 if not dryer.heated else 0.05)
        kelvin = conditions.inlet_k + 5.0
        state = uniform_state(packing, 0.0, kelvin)
        loading = packing.capacity * packing.desiccant.isotherm.loading(pa, kelvin)
        state.loading = np.asarray(loading, float)
        state.enthalpy = enthalpy_of(packing.desiccant, state.loading, kelvin)
        states.append(state)
    return states
