"""What a visitor does with the pages."""

from __future__ import annotations

from pathlib import Path

from tests.browser.server import STILL

TITLES = ("The log", "The dryer", "The plant", "What if", "Payback", "Report", "Before measuring", "Spot check")


def settled(page) -> None:
    """Wait until the page has answered."""
    page.wait_for_timeout(150)
    page.wait_for_selector(STILL, timeout=60_000)
    page.wait_for_timeout(150)
    page.wait_for_selector(STILL, timeout=60_000)


def upload(page, log: Path, plant: Path | None = None) -> None:
    """Hand over plant file and log."""
    if plant:
        page.locator("input[type=file]").nth(1).set_input_files(str(plant))
        settled(page)
    page.locator("input[type=file]").nth(0).set_input_files(str(log))
    page.get_by_role("heading", name="What was read").wait_for(timeout=60_000)
    settled(page)


def go(page, title: str) -> None:
    """Turn to another page; on a phone the sidebar is opened and closed again."""
    narrow = page.viewport_size["width"] < 700
    if narrow:
        page.get_by_test_id("stExpandSidebarButton").click()
    page.get_by_test_id("stSidebarNav").get_by_role("link", name=title, exact=False).click()
    page.get_by_role("heading", name=title, level=1).wait_for(timeout=60_000)
    if narrow:
        close = page.get_by_test_id("stSidebarCollapseButton").locator("button")
        if close.is_visible():
            close.click()
            page.wait_for_timeout(400)
    settled(page)


def choose(page, label: str, option: str) -> None:
    """Choose an option of a select box."""
    box = page.get_by_role("combobox", name=label)
    box.scroll_into_view_if_needed()
    page.wait_for_timeout(400)  # a fold that has just been opened still moves
    box.focus()
    box.press("ArrowDown")
    page.get_by_role("option", name=option, exact=True).click()


def taken_away(page, name: str, target: Path) -> Path:
    """Press a download button and keep the file."""
    with page.expect_download(timeout=60_000) as fetched:
        page.get_by_role("button", name=name).click()
    fetched.value.save_as(target)
    return target
