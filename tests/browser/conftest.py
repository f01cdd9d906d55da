"""One front end and one browser for all browser tests; a page of its own for each."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.browser.server import FLAGS, STILL, front_end, require_chromium
from tests.logs import write_example


# Both end with this folder: a browser kept open would bar other tests from one of their own.
@pytest.fixture(scope="package")
def address() -> Iterator[str]:
    require_chromium()
    with front_end() as served:
        yield served


@pytest.fixture(scope="package")
def browser() -> Iterator[object]:
    from playwright.sync_api import sync_playwright

    path = require_chromium()
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield chromium
        chromium.close()


def _asked_elsewhere(url: str, address: str) -> list[str]:
    """A request that leaves this computer; a page that shows a plant's log may make none."""
    return [] if url.startswith((address, "data:", "blob:")) else [f"asked another server: {url}"]


@pytest.fixture
def page(address: str, browser) -> Iterator[object]:
    context = browser.new_context(viewport={"width": 1400, "height": 1000}, accept_downloads=True)
    opened = context.new_page()
    errors: list[str] = []
    opened.on("pageerror", lambda error: errors.append(str(error)))
    opened.on("request", lambda request: errors.extend(_asked_elsewhere(request.url, address)))
    opened.goto(address)
    opened.wait_for_selector(STILL, timeout=60_000)
    yield opened
    context.close()
    assert errors == []


@pytest.fixture(scope="session")
def example(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return write_example(tmp_path_factory.mktemp("example"))
