"""A front is trusted beyond what was seen as far as its lower part foretells its upper one."""

from __future__ import annotations

import math

import numpy as np

from diagnostics.bed.front_evidence import _trial
from diagnostics.bed.tail import TailPoints, fit_fronts

_INLET = 6.0
_PLATEAU = -3.5


def points(front: np.ndarray, loaded: np.ndarray, half_cycles: int = 12) -> TailPoints:
    """The same half-cycle over and over, at one flow, with a little noise."""
    rng = np.random.default_rng(11)
    log_moisture = np.tile(np.logaddexp(_PLATEAU, front), half_cycles)
    return TailPoints(
        np.repeat(np.arange(half_cycles), loaded.size),
        np.tile(0.0, log_moisture.size),
        np.tile(loaded, half_cycles),
        log_moisture + rng.normal(0.0, 0.01, log_moisture.size),
        np.zeros(log_moisture.size),
    )


def trial(front: np.ndarray, loaded: np.ndarray) -> float:
    seen = points(front, loaded)
    fronts = fit_fronts(seen, _INLET)
    return _trial(seen, fronts, 1.0, math.log(float(fronts[0].loaded_at_limit())))


def test_an_exponential_front_foretells_itself() -> None:
    loaded = np.linspace(0.3, 0.85, 20)
    assert trial(-10.0 + 10.0 * loaded, loaded) < 0.005


def test_a_front_whose_climb_eases_is_trusted_less() -> None:
    loaded = np.linspace(0.3, 0.85, 20)
    straight = -10.0 + 10.0 * loaded
    eased = np.where(straight > -3.2, -3.2 + 0.4 * (straight + 3.2), straight)
    assert trial(eased, loaded) > 10.0 * trial(straight, loaded)
