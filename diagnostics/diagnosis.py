"""The main path: a log and a plant become a diagnosis."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from diagnostics.air.purity import judge_purity
from diagnostics.air.record import Purity
from diagnostics.bed.breakthrough import margin_to_breakthrough
from diagnostics.bed.record import Breakthrough
from diagnostics.cycle.half_cycles import segment
from diagnostics.cycle.record import Cycle
from diagnostics.energy.payback import reckon_payback
from diagnostics.energy.purge import account_purge
from diagnostics.energy.record import Payback, Purge, Switching
from diagnostics.energy.switching import switch_on_dew_point
from diagnostics.health.findings import find
from diagnostics.health.record import Finding, Trend
from diagnostics.health.trend import peak_trend
from diagnostics.log.corrections import Correction, correct
from diagnostics.log.record import Log, ScreenedLog
from diagnostics.log.screening import screen
from diagnostics.plant import Plant


@dataclass(frozen=True)
class Diagnosis:
    """Everything one log says about one dryer."""

    plant: Plant
    screened: ScreenedLog
    cycle: Cycle
    purity: Purity
    trend: Trend
    breakthrough: Breakthrough
    purge: Purge
    switching: Switching
    payback: Payback
    findings: tuple[Finding, ...]


def diagnose(
    log: Log,
    plant: Plant,
    *,
    rhythm_from: str | None = None,
    corrections: Sequence[Correction] = (),
    progress: Callable[[str], None] = lambda step: None,
) -> Diagnosis:
    """Judge one dryer by its log.

    Parameters
    ----------
    log : Log
        As read, nothing set aside.
    plant : Plant
        Nameplate, operation, measurement, prices; gaps filled by assumption.
    rhythm_from : str, optional
        Title of another numeric column whose rhythm gives the switchovers.
    corrections : sequence of Correction
        Stretches that a person set aside or took back.
    progress : callable, optional
        Called with the name of each step as it begins.

    Returns
    -------
    Diagnosis
    """
    progress("setting aside what is not the dryer's air")
    screened = correct(screen(log, plant), corrections)
    progress("finding the half-cycles")
    cycle = segment(screened, plant, rhythm_from=rhythm_from)
    progress("judging purity, trend and breakthrough")
    purity = judge_purity(screened, cycle, plant)
    trend = peak_trend(screened, cycle, plant)
    breakthrough = margin_to_breakthrough(screened, cycle, plant)
    progress("reckoning purge, switching and payback")
    purge = account_purge(screened, cycle, plant)
    switching = switch_on_dew_point(screened, cycle, breakthrough, purge, plant)
    payback = reckon_payback(switching, plant)
    progress("putting findings in order")
    findings = find(screened, cycle, purity, trend, breakthrough, purge, switching, plant)
    return Diagnosis(plant, screened, cycle, purity, trend, breakthrough, purge, switching, payback, findings)
