"""Nothing is read into logs without a rhythm: a false alarm would be a finding out of thin air."""

import pytest

from diagnostics.cycle.half_cycles import segment
from tests.cycle.invented import plant_of
from tests.cycle.noise import KINDS, noise_log


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(6))
def test_no_rhythm_is_found_in_noise(kind, seed):
    cycle = segment(noise_log(kind, 1000 + seed), plant_of(None))
    assert cycle.control == "unresolved"
    assert cycle.half_cycles.empty
    assert cycle.half_cycle_s is None
