"""``dewswing serve``: listens here only, says where, and leaves nothing running when it ends."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request

import pytest


def start(*more: str) -> tuple[subprocess.Popen[str], str]:
    command = [sys.executable, "-m", "diagnostics", "serve", "--port", "0", *more]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert server.stdout is not None
    found = re.search(r"http://[\d.]+:\d+", server.stdout.readline())
    assert found
    return server, found[0]


def answers(address: str, tries: int = 300) -> bool:
    for _ in range(tries):
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                return True
        except OSError:
            time.sleep(0.1)
    return False


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT], ids=["SIGTERM", "Ctrl+C"])
def test_it_stops_cleanly_and_nothing_survives(how: signal.Signals) -> None:
    server, address = start()
    try:
        assert answers(address)
        assert address.startswith("http://127.0.0.1:")
        server.send_signal(how)
        rest, errors = server.communicate(timeout=20)
    finally:
        server.kill()
    assert server.returncode == 0
    assert "dewswing has stopped." in rest
    assert "Traceback" not in errors
    assert not answers(address, tries=2), "no server may survive"


def test_it_ends_with_its_parent_killed_outright() -> None:
    server, address = start()
    assert answers(address)
    server.kill()
    server.communicate(timeout=20)
    for _ in range(100):
        if not answers(address, tries=1):
            return
        time.sleep(0.1)
    pytest.fail("the pages are still served although the command that served them is gone")


def test_a_taken_port_is_told() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        result = subprocess.run(
            [sys.executable, "-m", "diagnostics", "serve", "--port", port], capture_output=True, text=True, timeout=60
        )
    assert result.returncode == 3
    assert f"port {port} at 127.0.0.1 is taken" in result.stderr
