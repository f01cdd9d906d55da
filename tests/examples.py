"""The logs with known truth beside the checkout, by folder name."""

from __future__ import annotations

EXAMPLES = (
    "atmospheric_basis",
    "control_inactive",
    "dew_point_control",
    "dew_point_control_heatless",
    "heated_purge",
    "heatless",
    "heatless_minute",
    "imbalance",
    "overload",
    "receiver",
    "regeneration_failure",
    "reserve_heated",
    "reserve_heatless",
    "settling",
    "stopped",
    "too_coarse",
    "underloaded",
)
