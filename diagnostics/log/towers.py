"""A column that tells which tower dries: its words or numbers become 0 and 1."""

from __future__ import annotations

from typing import Any

import numpy as np

from diagnostics.log.record import Floats

_PAIRS = (
    ("a", "b"),
    ("1", "2"),
    ("0", "1"),
    ("left", "right"),
    ("links", "rechts"),
    ("gauche", "droite"),
    ("izquierda", "derecha"),
    ("sinistra", "destra"),
    ("false", "true"),
    ("off", "on"),
    ("i", "ii"),
)


def tower_from_values(values: Floats) -> Floats | None:
    """0 and 1 from a column of numbers; None where it holds other than one or two levels."""
    levels = np.unique(values[np.isfinite(values)])
    if not 1 <= levels.size <= 2 or (levels % 1).any():
        return None
    if levels.size == 1:
        low = 0.0 if levels[0] in (0.0, 1.0) else 1.0
        return np.where(np.isfinite(values), levels[0] - low, np.nan)
    return np.where(np.isfinite(values), (values == levels[1]).astype(np.float64), np.nan)


def tower_from_text(text: Any) -> Floats | None:
    """0 and 1 from words such as A/B, left/right; None where they are no pair.

    Parameters
    ----------
    text : pyarrow.StringArray, length n
    """
    from pyarrow import compute as pc

    coded = pc.dictionary_encode(text)
    words = coded.dictionary.to_pylist()
    codes = np.asarray(pc.fill_null(coded.indices, len(words)).to_numpy(zero_copy_only=False), dtype=np.int64)
    counts = np.bincount(codes, minlength=len(words) + 1)[: len(words)]
    keys = {k: _key(word) for k, word in enumerate(words)}
    usual = sorted({key for k, key in keys.items() if counts[k] > 0.02 * codes.size and key})
    if not 1 <= len(usual) <= 2:
        return None
    order = next((pair for pair in _PAIRS if set(usual) <= set(pair)), tuple(usual) if len(usual) == 2 else None)
    if order is None:
        return None
    level = {order[0]: 0.0, order[1]: 1.0}
    return np.array([*(level.get(keys[k], np.nan) for k in range(len(words))), np.nan])[codes]


def _key(word: str) -> str:
    low = word.strip().lower()
    for prefix in ("tower", "turm", "behälter", "vessel", "tour", "torre", "column", "kolonne", "bed", "t"):
        rest = low.removeprefix(prefix).strip(" _-")
        if rest and rest != low:
            return rest
    return low
