"""How often a rhythm is read into noise: a thousand logs by hand, ``python -m tests.cycle.study_noise [LOGS]``."""

from __future__ import annotations

import sys

from diagnostics.cycle.half_cycles import segment
from tests.cycle.invented import plant_of
from tests.cycle.noise import KINDS, noise_log


def main(logs: int) -> int:
    """Count and name the false alarms."""
    alarms = 0
    for number in range(logs):
        kind, seed = KINDS[number % len(KINDS)], 5000 + number // len(KINDS)
        cycle = segment(noise_log(kind, seed), plant_of(None))
        if cycle.resolved:
            alarms += 1
            print(f"{kind} {seed}: {cycle.control}, half-cycle {cycle.half_cycle_s}")
    print(f"{alarms} false alarms in {logs} logs")
    return alarms


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000) > 0)
