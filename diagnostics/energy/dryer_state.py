"""The year's power of a dryer in a given state.

Question: what do regeneration and the compression of the air that goes on draw, if the dryer ran otherwise? Input: the
parts of a diagnosis, a `State`. Output: mean power at the meter. Method: regenerations over the year's load times what
one costs; compression by isentropic work at the state's pressure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from diagnostics.air.compression import power_ratio
from diagnostics.energy.compressor import TYPICAL_SPECIFIC_POWER, marginal_power, trim_machine
from diagnostics.energy.extension import regenerations_per_s
from diagnostics.energy.load import mean_flow_m3_min, with_known_flow
from diagnostics.energy.purge import mean_half_cycle_s, mean_pressure_bar, regeneration_power
from diagnostics.energy.saving import heat_saved_per_regeneration
from diagnostics.energy.switching import Case, case_of
from diagnostics.energy.uncertain import Uncertain, known, relative, uncertain
from diagnostics.estimate import Estimate

if TYPE_CHECKING:
    from diagnostics.diagnosis import Diagnosis


@dataclass(frozen=True, slots=True)
class State:
    """How the dryer runs: as today unless a lever changes it.

    Attributes
    ----------
    switched : bool
        By dew point instead of by timer.
    timer_s : float or None
        Another fixed half-cycle [s].
    purge_factor, reserve_factor, moisture_factor : float
        On the purge flow, on what the bed holds, on the moisture that enters [-].
    lower_bar, drop_saved_bar : float
        Line pressure lowered, filter drop taken away [bar].
    """

    switched: bool = False
    timer_s: float | None = None
    purge_factor: float = 1.0
    reserve_factor: float = 1.0
    moisture_factor: float = 1.0
    lower_bar: float = 0.0
    drop_saved_bar: float = 0.0


@dataclass(frozen=True, eq=False)
class YearModel:
    """Everything the year's power of a state is reckoned from."""

    case: Case
    plain_purge: Uncertain
    vented: Uncertain
    per_air: Uncertain
    heat: Uncertain
    blower: Uncertain
    heat_share: Uncertain
    flow: Uncertain
    specific_power: Uncertain
    line_bar: float
    heated: bool
    hours: float
    notes: tuple[str, ...]

    @classmethod
    def of(cls, diagnosis: Diagnosis) -> YearModel | None:
        plant, purge = diagnosis.plant, diagnosis.purge
        screened, notes = with_known_flow(diagnosis.screened, plant)
        case = case_of(screened, diagnosis.cycle, diagnosis.breakthrough, plant)
        flow = mean_flow_m3_min(screened)
        if case is None or flow is None or purge.average_m3_min is None:
            return None
        vented = purge.depressurisation_m3_min or Estimate.exact(0.0)
        average = purge.average_m3_min
        plain = uncertain("purge", _less(average, vented.value))
        today_s = mean_half_cycle_s(diagnosis.cycle, plant)
        saved = diagnosis.switching.figures.purge_saved_m3_min
        # A pool's slope hangs on how much air is saved; that of switching is the amount the levers are about.
        marginal = marginal_power(plant, screened, average.value if saved is None or not saved.value else saved.value)
        parts = regeneration_power(plain, marginal, plant, today_s)
        machine = trim_machine(plant.compressors)
        given = machine.specific_power_kw_per_m3_min if machine else None
        specific = uncertain("specific power", TYPICAL_SPECIFIC_POWER)
        return cls(
            case=case,
            plain_purge=plain,
            vented=uncertain("vented air", vented),
            per_air=marginal.kw_per_m3_min,
            heat=parts["heater"],
            blower=parts["blower"],
            heat_share=heat_saved_per_regeneration(plant, screened, today_s),
            flow=flow,
            specific_power=specific if given is None else relative("specific power", given, 0.05),
            line_bar=mean_pressure_bar(screened, plant),
            heated=plant.heated,
            hours=plant.operation.hours_per_year,
            notes=notes,
        )

    def power_kw(self, state: State) -> Uncertain:
        """Mean power of regeneration, and of compressing the air that goes on, at the meter [kW]."""
        line, bounds = self.line_bar - state.lower_bar, self.case.bounds
        often = self._regenerations(state) * bounds.today_s
        air = (self.plain_purge * state.purge_factor + self.vented) * often * (line / self.line_bar)
        work = power_ratio(line - state.drop_saved_bar, self.line_bar)
        drained = self.heat * (often * self.heat_share + (known(1.0) - self.heat_share) * state.moisture_factor)
        passed = self.flow * self.specific_power
        return (air * self.per_air + passed) * work + drained + self.blower * often

    def _regenerations(self, state: State) -> Uncertain:
        """Regenerations per second."""
        bounds, year = self.case.bounds, self.case.year.pattern
        if not state.switched:
            return known(1.0 / (state.timer_s or bounds.today_s))
        # A heatless bed lives on the ratio of purge to feed by actual volume: less purge or less pressure, less held.
        factor = state.moisture_factor if self.heated else self.line_bar / (self.line_bar - state.lower_bar)
        held = self.case.held_s * (state.reserve_factor * (1.0 if self.heated else state.purge_factor))
        return regenerations_per_s(held / self.case.year.scale, year.scaled(factor), bounds)


def _less(average: Estimate, vented: float) -> Estimate:
    return Estimate(max(0.0, average.value - vented), max(0.0, average.low - vented), max(0.0, average.high - vented))
