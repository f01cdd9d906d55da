"""The report as PDF: the page's content, set on paper."""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from importlib import resources
from pathlib import Path

from diagnostics.diagnosis import Diagnosis
from diagnostics.errors import InputError
from diagnostics.report.drawing import pdf_of
from diagnostics.report.figures import METRIC, Display
from diagnostics.report.texts import LANGUAGE


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
    content = report_content(diagnosis, today=day, display=display) | {"language": LANGUAGE}
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
