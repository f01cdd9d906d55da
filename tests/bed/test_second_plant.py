"""The second plant keeps what it promises: quick, repeatable, true to its own truth."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from diagnostics.plant import plant_from
from tests.second_plant import FAULTS, second_plant


@pytest.mark.parametrize("kind", ["heatless", "heated"])
@pytest.mark.parametrize("seed", range(3))
def test_same_seed_same_log(kind, seed):
    one, truth = second_plant(seed, kind=kind)
    other, again = second_plant(seed, kind=kind)
    pd.testing.assert_frame_equal(one, other)
    assert truth == again
    assert plant_from(truth["plant"]).dryer.rated_flow_m3_min > 0


@pytest.mark.parametrize("fault", FAULTS)
def test_every_fault_changes_the_log(fault):
    kind = "heated" if fault in ("dead_heater", "control_fallback") else "heatless"
    control = "dew_point" if fault == "control_fallback" else "fixed"
    sound, _ = second_plant(5, kind=kind, control=control, days=3.0, interval_s=60.0)
    sick, truth = second_plant(5, kind=kind, control=control, days=3.0, interval_s=60.0, faults=(fault,))
    assert fault in truth["faults"]
    same = len(sound) == len(sick) and sound.equals(sick)
    assert not same


def test_dew_point_control_switches_at_the_limit():
    for seed in range(4):
        _, truth = second_plant(seed, kind="heated", control="dew_point", days=6.0, reserve=1.3, load=0.6)
        peaks = [tower["peak_dew_point_c"] for tower in truth["towers"].values()]
        assert np.allclose(peaks, -40.0, atol=0.3)


def test_a_timer_keeps_its_time():
    _, truth = second_plant(2, days=1.0)
    lengths = np.diff([t for t, _ in truth["switchovers"]])
    assert np.ptp(lengths) < 0.01


@pytest.mark.parametrize("reserve", [0.6, 1.0, 3.0])
def test_reserve_decides_whether_the_limit_is_reached_at_rated_load(reserve):
    for kind in ("heatless", "heated"):
        _, truth = second_plant(1, kind=kind, reserve=reserve, load=1.0, swing=0.0, days=3.0)
        if abs(reserve - 1.0) > 0.1:
            assert truth["reached"] == (reserve < 1.0)
        half_cycle_s = truth["plant"]["dryer"]["half_cycle_s"]
        assert truth["sustained_margin_s"] == pytest.approx((reserve - 1.0) * half_cycle_s, abs=0.02 * half_cycle_s)


def test_stopped_keeps_no_switchover_after_the_stop():
    log, truth = second_plant(4, control="stopped")
    stop = truth["onsets"]["stopped_switching"]
    assert truth["switchovers"][-1][0] <= stop
    assert truth["control"] == ["stopped"]
    assert log["Dew point [°C]"].iloc[-1] > log["Dew point [°C]"].iloc[0] + 20.0


def test_unknown_fault_is_refused():
    with pytest.raises(ValueError, match="unknown faults"):
        second_plant(0, faults=("gremlin",))
