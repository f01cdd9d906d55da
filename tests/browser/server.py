"""A running front end and a browser to look at it with."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

CHROMIUM = os.environ.get("DEWSWING_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-background-networking"]
STILL = "[data-testid='stApp'][data-test-script-state='notRunning']"


def require_chromium() -> str:
    """Path of the browser; without one the test is skipped, but in CI it fails."""
    if CHROMIUM:
        return CHROMIUM
    if os.environ.get("CI"):
        pytest.fail("CI has no Chromium: apt install chromium")
    pytest.skip("needs Chromium: apt install chromium")


@contextmanager
def front_end() -> Iterator[str]:
    """Serve as a user does, with ``dewswing serve``; gives the address."""
    command = [sys.executable, "-m", "diagnostics", "serve", "--port", "0"]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    told = server.stdout
    assert told is not None
    try:
        line = told.readline()
        found = re.search(r"http://[\d.]+:\d+", line)
        assert found, line
        address = found[0]
        for _ in range(300):
            try:
                with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                    break
            except OSError:
                time.sleep(0.1)
        yield address
    finally:
        server.terminate()
        server.wait(timeout=20)
        told.close()
