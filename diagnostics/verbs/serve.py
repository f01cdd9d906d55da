"""``dewswing serve``: the browser front end on this computer."""

from __future__ import annotations

import click

from diagnostics.errors import InputError


@click.command(name="serve", epilog="Example: dewswing serve --port 8600")
@click.option("--port", type=click.IntRange(0, 65535), default=8501, show_default=True, help="0 takes any free port.")
@click.option("--address", default="127.0.0.1", show_default=True, help="Interface to listen on.")
@click.option("--upload-limit-mb", type=click.IntRange(1, 4000), default=400, show_default=True)
def verb(port: int, address: str, upload_limit_mb: int) -> None:
    """Open the browser front end; it listens on this computer only unless told otherwise. Ctrl+C ends it."""
    import importlib.util
    import signal
    import subprocess
    import sys
    from pathlib import Path

    spec = importlib.util.find_spec("ui")
    if spec is None or not spec.submodule_search_locations:
        raise InputError("the browser pages are not installed beside the engine; install dewswing again.")
    app = Path(next(iter(spec.submodule_search_locations))) / "app.py"
    port = port or _free_port(address)
    if not _is_free(address, port):
        raise InputError(f"port {port} at {address} is taken; choose another with --port, or --port 0 for any.")
    flags = {
        "server.headless": "true",
        "server.address": address,
        "server.port": str(port),
        "server.fileWatcherType": "none",
        "server.maxUploadSize": str(upload_limit_mb),
        "server.runOnSave": "false",
        "browser.gatherUsageStats": "false",
        "client.toolbarMode": "minimal",
        "client.showErrorDetails": "none",
        "runner.enforceSerializableSessionState": "true",
        "theme.primaryColor": "#0b6e99",
        "theme.dark.primaryColor": "#58b4d8",
        "theme.baseRadius": "4px",
        "logger.level": "warning",
        "logger.hideWelcomeMessage": "true",
    }
    command = [sys.executable, "-m", "streamlit", "run", str(app)]
    command += [f"--{key}={value}" for key, value in flags.items()]
    click.echo(f"dewswing is at http://{address}:{port} - Ctrl+C ends it.")
    server = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    signal.signal(signal.SIGTERM, lambda *_: server.terminate())
    try:
        status = server.wait()
    except KeyboardInterrupt:
        server.terminate()
        status = server.wait(timeout=10)
    if status not in (0, -signal.SIGTERM, -signal.SIGINT, 130, 143):
        raise InputError(f"the browser front end ended with status {status}; its message stands above.")
    click.echo("dewswing has stopped.")


def _is_free(address: str, port: int) -> bool:
    import socket

    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
        except OSError:
            return False
    return True


def _free_port(address: str) -> int:
    import socket

    with socket.socket() as probe:
        probe.bind((address, 0))
        return int(probe.getsockname()[1])
