"""The report: self-contained, accessible, the same on paper, safe against what stands in a plant file."""

from __future__ import annotations

import datetime as dt
import html
import html.parser
import io
import re
from dataclasses import replace
from pathlib import Path

import pytest

from diagnostics import Diagnosis, diagnose, document, plant_from, read_log
from diagnostics.health.record import Finding
from diagnostics.log.record import Exclusion
from diagnostics.moment import say_duration
from diagnostics.report.content import report_content
from diagnostics.report.figures import METRIC
from diagnostics.report.fitting import fitted
from diagnostics.report.page import report_page
from diagnostics.report.sheet import report_pdf
from tests.browser.server import FLAGS, require_chromium
from tests.logs import saw_tooth

DAY = dt.date(2026, 3, 5)
HOSTILE = '<script>document.title="run"</script><img src=x onerror=alert(1)>'


class Fetches(html.parser.HTMLParser):
    """Collects everything a browser would fetch or run."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "iframe", "object", "embed", "link", "base", "form", "img"):
            self.found.append(tag)
        for name, value in attributes:
            if name.startswith("on") or (name in ("src", "href", "xlink:href") and not (value or "").startswith("#")):
                self.found.append(f"{tag} {name}={value}")


def fetches(page: str) -> list[str]:
    reader = Fetches()
    reader.feed(page)
    return reader.found + re.findall(r"@import[^;]*|url\((?!#)[^)]*\)", page)


def test_page_fetches_nothing(diagnosis: Diagnosis) -> None:
    assert fetches(report_page(diagnosis)) == []


def test_same_input_same_bytes(diagnosis: Diagnosis) -> None:
    assert report_page(diagnosis, today=DAY) == report_page(diagnosis, today=DAY)
    other = report_page(diagnosis, today=DAY + dt.timedelta(days=1))
    assert other.replace("2026-03-06", "2026-03-05") == report_page(diagnosis, today=DAY)
    assert report_pdf(diagnosis, today=DAY) == report_pdf(diagnosis, today=DAY)


def test_nothing_from_a_plant_file_runs(tmp_path: Path) -> None:
    plant = plant_from({"site": {"name": HOSTILE}, "economics": {"currency": HOSTILE}})
    log = tmp_path / "<b>log.csv"
    saw_tooth(days=0.5).to_csv(log, index=False)
    page = report_page(diagnose(read_log([log], plant), plant))
    assert fetches(page) == []
    assert "&lt;script&gt;" in page


def test_what_the_next_log_should_have_is_said(diagnosis: Diagnosis) -> None:
    told = report_content(diagnosis)["next_log"]
    assert any("over a weekend" in line for line in told), "two days from a Monday on"
    assert any("Log also: flow" in line for line in told)
    page = report_page(diagnosis, today=DAY)
    assert all(html.escape(line).replace("&#x27;", "&#39;") in page for line in told)


def crowded(diagnosis: Diagnosis) -> Diagnosis:
    """The diagnosis with far more to tell than four sheets hold."""
    long = Finding(
        code="overload",
        severity="critical",
        confidence=0.93,
        start_s=float(diagnosis.screened.log.time_s[0]),
        end_s=float(diagnosis.screened.log.time_s[-1]),
        tower=None,
        statement="The load lay above the rating and the peaks climbed until they passed the limit. " * 5,
        evidence=("87 of 287 half-cycles passed the limit.",) * 6,
        other_causes=("the flow meter may read too high",) * 5,
        action="Check aftercooler and line pressure, and compare with the nameplate. " * 4,
        caution="Isolate, lock out, vent both vessels and read zero on every gauge. " * 3,
    )
    gaps = tuple(Exclusion(60.0 * k, 60.0 * k + 30.0, "gap") for k in range(40))
    notes = tuple(f"Note {k}: {'a sentence of some length about what was assumed. ' * 4}" for k in range(60))
    return replace(
        diagnosis,
        findings=(long,) * 15,
        screened=replace(diagnosis.screened, exclusions=gaps, notes=notes),
    )


def test_four_sheets_hold_whatever_there_is_to_tell(diagnosis: Diagnosis) -> None:
    import pypdf

    many = crowded(diagnosis)
    reader = pypdf.PdfReader(io.BytesIO(report_pdf(many, today=DAY)))
    assert 2 <= len(reader.pages) <= 4
    text = " ".join(sheet.extract_text() for sheet in reader.pages)
    assert "left out to keep the report on four pages" in " ".join(text.split())
    content = fitted(report_content(many))
    assert len(content["findings"]) < 15
    assert content["cut_findings"].startswith(f"{15 - len(content['findings'])} more")
    assert content["first"] == report_content(many)["first"]


@pytest.mark.browser
def test_the_page_prints_on_four_sheets(diagnosis: Diagnosis, tmp_path: Path) -> None:
    import pypdf
    from playwright.sync_api import sync_playwright

    chromium = require_chromium()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        page = browser.new_page()
        for name, told in (("plain", diagnosis), ("crowded", crowded(diagnosis))):
            file = tmp_path / f"{name}.html"
            file.write_text(report_page(told, today=DAY), encoding="utf-8")
            page.goto(file.as_uri())
            printed = pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
            assert 2 <= len(printed.pages) <= 4, name
        browser.close()


def headline_numbers(diagnosis: Diagnosis) -> list[str]:
    """Every headline number of the document that is not null, as it is shown, and what the findings state."""
    whole = document(diagnosis)
    purge, switching, payback = whole["purge"], whole["switching"], whole["payback"]
    estimates = [
        (purge["cost_per_year"], 3),
        (purge["average_m3_min"], 3),
        (purge["energy_kwh_per_year"], 3),
        (payback["simple_payback_years"], 2),
        (payback["npv"], 3),
    ]
    if switching["limited_by"] not in ("air_use", "none_possible") and switching["already_saved_share"] is None:
        estimates += [(switching["cost_saved_per_year"], 3), (switching["energy_saved_kwh_per_year"], 3)]
    kept = [METRIC.number(found["value"], digits=digits) for found, digits in estimates if found is not None]
    towers = whole["cycle"]["towers"].values()
    levels = [whole["purity"]["p95_dew_point_c"], *(tower["peak_dew_point_c"] for tower in towers)]
    kept += [METRIC.number(level, decimals=1) for level in levels if level is not None]
    half_cycle = whole["cycle"]["half_cycle_s"]
    kept += [] if half_cycle is None else [say_duration(half_cycle["value"])]
    return kept + [finding["statement"] for finding in whole["findings"]]


def test_pdf_holds_every_headline_number(diagnosis: Diagnosis) -> None:
    assert_told_on_paper_and_page(diagnosis)


def assert_told_on_paper_and_page(diagnosis: Diagnosis) -> None:
    import pypdf

    reader = pypdf.PdfReader(io.BytesIO(report_pdf(diagnosis, today=DAY)))
    assert 2 <= len(reader.pages) <= 4
    shown = report_page(diagnosis, today=DAY)
    assert fetches(shown) == []
    text = squeezed(" ".join(sheet.extract_text() for sheet in reader.pages))
    page = squeezed(html.unescape(re.sub(r"<[^>]+>", " ", shown)))
    for number in headline_numbers(diagnosis):
        assert squeezed(number) in text, number
        assert squeezed(number) in page, number


def squeezed(text: str) -> str:
    return re.sub(r"[\s\u00ad]+", "", text).replace("’", "'")


@pytest.mark.browser
def test_page_is_accessible_and_fits_a_phone(diagnosis: Diagnosis, tmp_path: Path) -> None:
    chromium = require_chromium()
    from axe_core_python.sync_playwright import Axe
    from playwright.sync_api import sync_playwright

    file = tmp_path / "report.html"
    file.write_text(report_page(diagnosis, today=DAY), encoding="utf-8")
    requests: list[str] = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        page = browser.new_page(viewport={"width": 400, "height": 900})
        page.on("request", lambda request: requests.append(request.url))
        page.goto(file.as_uri())
        too_wide = page.evaluate("document.documentElement.scrollWidth > window.innerWidth + 1")
        violations = [v for v in Axe().run(page)["violations"] if v["impact"] in ("serious", "critical")]
        browser.close()
    assert requests == [file.as_uri()]
    assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in violations] == []
    assert not too_wide
