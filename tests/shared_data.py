"""Finds the folder of outside data beside a checkout; tests that need it skip with the reason when absent."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


def shared(*parts: str) -> Path:
    """Path below the shared folder (``DEWSWING_SHARED``, else ``../shared`` beside the checkout)."""
    root = Path(os.environ.get("DEWSWING_SHARED") or Path(__file__).resolve().parents[2] / "shared")
    path = root.joinpath(*parts)
    if not path.exists():
        pytest.skip(f"needs the outside data in {path}; set DEWSWING_SHARED to the folder that holds it")
    return path
