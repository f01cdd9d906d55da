"""The report as PDF: the page's content, set on paper."""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from importlib import resources
from pathlib import Path
from typing import Any

from diagnostics.diagnosis import Diagnosis
from diagnostics.errors import InputError
from diagnostics.report.drawing import pdf_of
from diagnostics.report.figures import METRIC, Display


def report_pdf(diagnosis: Diagnosis, *, today: dt.date | None = None, display: Display = METRIC) -> bytes:
    """Set the report as PDF.

    Parameters
    ----------
    diagnosis : Diagnosis
    today : date, optional
        Date that the report bears; today's if not given.
    display : Display
        Units and number format.

    Returns
    -------
    bytes

    Raises
    ------
    InputError
        If the typesetter of the extra ``pdf`` is not installed.
    """
    try:
        import typst
    except ImportError:
        raise InputError(
            "a PDF report needs the extra pdf: pip install 'dewswing[pdf]'; the .html report needs nothing."
        ) from None
    from diagnostics.report.content import report_content
    from diagnostics.report.page import drawings

    day = today or dt.date.today()
    content = _worded(report_content(diagnosis, today=day, display=display), display)
    drawn = drawings(diagnosis, pdf_of, display)
    content["charts"] = list(drawn)
    files = {"report.typ": resources.files("diagnostics.report").joinpath("report.typ").read_bytes()}
    files["content.json"] = json.dumps(content).encode("utf-8")
    files |= {f"{name}.pdf": drawing for name, drawing in drawn.items()}
    # The typesetter takes pictures from files only; the folder is gone again when the report is made.
    with tempfile.TemporaryDirectory(prefix="dewswing-") as folder:
        for name, made in files.items():
            (Path(folder) / name).write_bytes(made)
        sheet: bytes = typst.compile(str(Path(folder) / "report.typ"), root=folder, timestamp=_seconds(day))
    return sheet


def _seconds(day: dt.date) -> int:
    return int(dt.datetime(day.year, day.month, day.day, tzinfo=dt.UTC).timestamp())


def _worded(content: dict[str, Any], display: Display) -> dict[str, Any]:
    """The content as plain values that JSON can carry."""
    whole = content["document"]
    return {
        **{key: content[key] for key in ("title", "date", "version", "log_line", "verdict", "zone")},
        "seen": [[line.topic, line.text] for line in content["seen"]],
        "worth": [[line.topic, line.text] for line in content["worth"]],
        "headline": content["headline"],
        "findings": [
            {
                "severity": item["finding"].severity,
                "tower": item["finding"].tower,
                "when": item["when"],
                "statement": item["finding"].statement,
                "action": item["finding"].action,
                "evidence": list(item["finding"].evidence),
                "other_causes": list(item["finding"].other_causes),
                "caution": item["finding"].caution,
                "confidence": item["confidence"],
            }
            for item in content["findings"]
        ],
        "towers": content["towers"],
        "switching": content["switching"],
        "excluded": content["excluded"][:40],
        "method": content["method"],
        "cautions": content["cautions"],
        "assumptions": [[_breakable(a["key"]), _word(a["value"], display), a["why"]] for a in whole["assumptions"]],
        "notes": whole["notes"],
        "trace": [
            [
                _breakable(step["key"]),
                f"{display.number(step['value'], digits=4)} {step['unit']}",
                step["formula"],
                "; ".join(f"{name} = {_word(value, display)} ({origin})" for name, value, origin in step["inputs"]),
                step["source"],
            ]
            for step in whole["trace"]
        ],
        "source": whole["log"]["source"],
        "sha256": whole["log"]["sha256"] or "not known",
    }


def _breakable(key: str) -> str:
    """A key that may be broken at its dots and underscores, in a narrow column."""
    return key.replace(".", ".\u200b").replace("_", "_\u200b")


def _word(value: Any, display: Display) -> str:
    return display.number(value, digits=4) if isinstance(value, int | float) else str(value)
