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
from diagnostics.report.fitting import MOST_PAGES, fitted
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
            "a PDF report needs the package typst; install it with .venv/bin/pip install -e '.[pdf]' in the"
            " checkout, or write the report as .html."
        ) from None
    from diagnostics.report.content import report_content
    from diagnostics.report.page import drawings

    day = today or dt.date.today()
    content = report_content(diagnosis, today=day, display=display) | {"language": LANGUAGE}
    drawn = drawings(diagnosis, pdf_of, display)
    content["charts"] = list(drawn)
    # The typesetter takes pictures from files only; the folder is gone again when the report is made.
    with tempfile.TemporaryDirectory(prefix="dewswing-") as folder:
        layout = Path(folder) / "report.typ"
        layout.write_bytes(resources.files("diagnostics.report").joinpath("report.typ").read_bytes())
        for name, drawing in drawn.items():
            (Path(folder) / f"{name}.pdf").write_bytes(drawing)
        for sheets in _SHEETS_TRIED:
            content_file = Path(folder) / "content.json"
            content_file.write_text(json.dumps(fitted(content, sheets)), encoding="utf-8")
            if (
                int(json.loads(typst.query(str(layout), "<sheets>", field="value", one=True, root=folder)))
                <= MOST_PAGES
            ):
                break
        sheet: bytes = typst.compile(str(layout), root=folder, timestamp=_seconds(day))
    return sheet


_SHEETS_TRIED = (MOST_PAGES, 3.7, 3.4, 3.1, 2.8)


def _seconds(day: dt.date) -> int:
    return int(dt.datetime(day.year, day.month, day.day, tzinfo=dt.UTC).timestamp())
