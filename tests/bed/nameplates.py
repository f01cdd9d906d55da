"""Nameplate of the invented heated dryer that several tests of the bed run, each with its own fill."""

from __future__ import annotations

from typing import Any


def heated(desiccant_mass_kg: float) -> dict[str, Any]:
    """The plant file's dryer table of a heated purge dryer with heat enough to regenerate."""
    return {
        "regeneration": "heated_purge",
        "rated_flow_m3_min": 24.0,
        "half_cycle_s": 14400,
        "purge_share": 0.12,
        "purge_share_means": "while_purging",
        "purge_s": 13500,
        "heater_s": 8640,
        "desiccant_mass_kg": desiccant_mass_kg,
    }
