"""Every page at phone and desk width, light and dark: nothing cut off, nothing on top of another, nothing barred."""

from __future__ import annotations

import pytest

from tests.browser.layout import FAULTS
from tests.browser.moves import TITLES, go, settled, upload
from tests.browser.server import STILL

pytestmark = pytest.mark.browser

IS_DARK = "parseInt(getComputedStyle(document.querySelector('[data-testid=stApp]')).backgroundColor.slice(4)) < 128"
OURS = "[data-testid=stMain]"


@pytest.mark.parametrize("width", [1400, 400])
def test_no_text_is_cut_off_or_covered_and_all_can_be_reached(address, browser, example, width: int) -> None:
    from axe_core_python.sync_playwright import Axe

    context = browser.new_context(viewport={"width": width, "height": 1000}, color_scheme="light")
    page = context.new_page()
    page.goto(address)
    page.wait_for_selector(STILL, timeout=60_000)
    faults = {("start", "light", fault) for fault in page.evaluate(FAULTS)}
    upload(page, *example)
    for title in TITLES:
        if title != "The log":
            go(page, title)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            page.wait_for_function(IS_DARK if scheme == "dark" else f"!({IS_DARK})")
            settled(page)
            faults |= {(title, scheme, fault) for fault in page.evaluate(FAULTS)}
            if (scheme, width) in (("light", 1400), ("dark", 400)):
                faults |= {(title, scheme, fault) for fault in serious(Axe(), page)}
    context.close()
    assert sorted(faults) == []


def serious(axe, page) -> list[str]:
    """Serious or critical violations of WCAG 2.1 A and AA on the page's own part."""
    found = axe.run(
        page,
        context=OURS,
        options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"], "resultTypes": ["violations"]},
    )
    return [
        f"{item['id']}: {item['nodes'][0]['html'][:160]}"
        for item in found["violations"]
        if item["impact"] in ("serious", "critical")
    ]
