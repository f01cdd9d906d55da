"""Every page at phone and desk width, light and dark: nothing cut off, nothing on top of another, nothing barred."""

from __future__ import annotations

import pytest

from tests.browser.layout import FAULTS
from tests.browser.moves import TITLES, go, settled, upload
from tests.browser.server import STILL

pytestmark = pytest.mark.browser

VIEWS = [("light", 1400), ("dark", 1400), ("light", 400), ("dark", 400)]
OURS = "[data-testid=stMain]"


@pytest.mark.parametrize(("scheme", "width"), VIEWS, ids=[f"{scheme}-{width}" for scheme, width in VIEWS])
def test_no_text_is_cut_off_or_covered_and_all_can_be_reached(address, browser, example, scheme, width) -> None:
    from axe_core_python.sync_playwright import Axe

    context = browser.new_context(viewport={"width": width, "height": 1000}, color_scheme=scheme)
    page = context.new_page()
    page.goto(address)
    page.wait_for_selector(STILL, timeout=60_000)
    faults = {("start", fault) for fault in page.evaluate(FAULTS)}
    upload(page, *example)
    for title in TITLES:
        if title != "The log":
            go(page, title)
        settled(page)
        faults |= {(title, fault) for fault in page.evaluate(FAULTS)}
        if (scheme, width) in (("light", 1400), ("dark", 400)):
            faults |= {(title, f"{item['id']}: {item['nodes'][0]['html'][:160]}") for item in serious(Axe(), page)}
    context.close()
    assert sorted(faults) == []


def serious(axe, page) -> list[dict]:
    """Serious or critical violations of WCAG 2.1 A and AA on the page's own part."""
    found = axe.run(
        page,
        context=OURS,
        options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"], "resultTypes": ["violations"]},
    )
    return [item for item in found["violations"] if item["impact"] in ("serious", "critical")]
