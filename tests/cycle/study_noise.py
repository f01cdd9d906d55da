"""How often a rhythm is read into noise: a thousand logs by hand, ``python -m tests.cycle.study_noise [LOGS]``.

Nine kinds in turn: six of noise and three of dryers whose rhythm is hidden; seeds from 5000 on.
"""

from __future__ import annotations

import sys
from collections import Counter

from diagnostics.cycle.half_cycles import segment
from tests.cycle.invented import plant_of
from tests.cycle.noise import HIDDEN, KINDS, hidden_log, noise_log

FIRST_SEED = 5000


def main(logs: int) -> int:
    """Count and name the false alarms."""
    kinds = KINDS + HIDDEN
    told: Counter[str] = Counter()
    alarms: Counter[str] = Counter()
    for number in range(logs):
        kind, seed = kinds[number % len(kinds)], FIRST_SEED + number // len(kinds)
        screened, plant = hidden_log(kind, seed) if kind in HIDDEN else (noise_log(kind, seed), plant_of(None))
        cycle = segment(screened, plant)
        told[kind] += 1
        if cycle.resolved:
            alarms[kind] += 1
            print(f"{kind} {seed}: {cycle.control}, half-cycle {cycle.half_cycle_s}", flush=True)
    for kind in kinds:
        print(f"{kind:>9}: {alarms[kind]} of {told[kind]}")
    print(f"{alarms.total()} false alarms in {told.total()} logs")
    return alarms.total()


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000) > 0)
