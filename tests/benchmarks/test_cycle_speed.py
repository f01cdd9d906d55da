"""Time to find the half-cycles: a two-day log, a million readings and ten, and two general-purpose ways beside it.

``find_peaks`` is scipy's, given the prominence and the least distance that suit the log; ``ruptures`` cuts the series
where the mean of its slope changes (PELT, squared error). Both are told the length of a half-cycle, which `segment` is
not.
"""

import numpy as np
import pytest

from diagnostics.cycle.half_cycles import segment
from tests.cycle.invented import Invented, Recipe, timer_log
from tests.cycle.scoring import margin_of, score

WANDER = 0.005
SIZES = {
    "2880": (2.0, 300.7, 60.0),
    "17k": (2.0, 240.3, 10.0),
    "1M": (116.0, 240.3, 10.0),
    "10M": (1160.0, 240.3, 10.0),
}


def _made(size: str) -> tuple[Invented, Recipe]:
    days, half_cycle_s, interval_s = SIZES[size]
    recipe = Recipe(seed=1, days=days, half_cycle_s=half_cycle_s, interval_s=interval_s, wander=WANDER)
    return timer_log(recipe), recipe


def _f1(made: Invented, recipe: Recipe, found_s: np.ndarray) -> float:
    return score(made.switchovers_s, found_s, margin_of(recipe.interval_s, recipe.half_cycle_s)).f1


@pytest.mark.parametrize("size", SIZES)
def test_segment(benchmark, size):
    made, recipe = _made(size)
    cycle = benchmark.pedantic(segment, (made.screened, made.plant), rounds=2, iterations=1, warmup_rounds=1)
    assert cycle.control == "fixed"
    found = cycle.half_cycles["start_s"].to_numpy()[1:]
    benchmark.extra_info["F1"] = round(_f1(made, recipe, found), 3)


def peaks_of(made: Invented, recipe: Recipe) -> np.ndarray:
    """Instants of prominent peaks, told how far apart they are at least."""
    from scipy.signal import find_peaks

    dew = made.screened.dew_point_c
    spread = float(np.subtract(*np.quantile(dew - np.median(dew), (0.9, 0.1))))
    apart = max(1, int(0.7 * recipe.half_cycle_s / recipe.interval_s))
    found, _ = find_peaks(dew, prominence=0.1 * spread, distance=apart)
    return made.screened.log.time_s[found]


def changes_of(made: Invented, recipe: Recipe) -> np.ndarray:
    """Instants at which the slope's mean changes, told the half-cycle and the penalty that scored best of fifteen."""
    import ruptures

    slope = np.diff(made.screened.dew_point_c)
    least = max(2, int(0.4 * recipe.half_cycle_s / recipe.interval_s))
    penalty = (0.1 if recipe.interval_s > 30.0 else 0.3) * float(slope.var()) * np.log(slope.size)
    cuts = ruptures.KernelCPD(kernel="linear", min_size=least).fit(slope[:, None]).predict(pen=penalty)
    return made.screened.log.time_s[np.array(cuts[:-1], dtype=int)]


@pytest.mark.parametrize(
    ("size", "way"),
    [("2880", peaks_of), ("1M", peaks_of), ("2880", changes_of), ("1M", changes_of)],
    ids=lambda x: getattr(x, "__name__", x),
)
def test_general_purpose_ways(benchmark, size, way):
    made, recipe = _made(size)
    found = benchmark.pedantic(way, (made, recipe), rounds=1, iterations=1)
    benchmark.extra_info["F1"] = round(_f1(made, recipe, found), 3)
    assert found.size
