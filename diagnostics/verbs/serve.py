"""``dewswing serve``: the browser front end on this computer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from diagnostics.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path


@click.command(name="serve", epilog="Example: dewswing serve --port 8600")
@click.option("--port", type=click.IntRange(0, 65535), default=8501, show_default=True, help="0 takes any free port.")
@click.option("--address", default="127.0.0.1", show_default=True, help="Interface to listen on.")
@click.option("--upload-limit-mb", type=click.IntRange(1, 4000), default=400, show_default=True)
def verb(port: int, address: str, upload_limit_mb: int) -> None:
    """Open the browser front end; it listens on this computer only unless told otherwise. Ctrl+C ends it."""
    import importlib.util
    from pathlib import Path

    spec = importlib.util.find_spec("ui")
    if spec is None or not spec.submodule_search_locations:
        raise InputError("the browser pages are not installed beside the engine; install dewswing again.")
    app = Path(next(iter(spec.submodule_search_locations))) / "app.py"
    port = port or _free_port(address)
    if not _is_free(address, port):
        raise InputError(f"port {port} at {address} is taken; choose another with --port, or --port 0 for any.")
    click.echo(f"dewswing is at http://{address}:{port} - Ctrl+C ends it.")
    _serve_until_told(app, _settings(address, port, upload_limit_mb))
    click.echo("dewswing has stopped.")


def _serve_until_told(app: Path, settings: dict[str, Any]) -> None:
    """Serve in this very process, so that nothing can outlive it; SIGINT and SIGTERM end it in order."""
    from streamlit.web import bootstrap

    bootstrap.load_config_options(settings)
    try:
        bootstrap.run(str(app), False, [], settings)
    except KeyboardInterrupt:
        return


def _settings(address: str, port: int, upload_limit_mb: int) -> dict[str, Any]:
    """What the pages need wherever they are started from; the folder's own settings file says the same."""
    return {
        "server_headless": True,
        "server_address": address,
        "server_port": port,
        "server_fileWatcherType": "none",
        "server_maxUploadSize": upload_limit_mb,
        "server_runOnSave": False,
        "browser_gatherUsageStats": False,
        "client_toolbarMode": "minimal",
        "client_showErrorDetails": "none",
        "runner_enforceSerializableSessionState": True,
        "theme_primaryColor": "#0b6e99",
        "theme_light_textColor": "#0b0f12",
        "theme_dark_primaryColor": "#58b4d8",
        "theme_baseRadius": "4px",
        "logger_level": "warning",
        "logger_hideWelcomeMessage": True,
    }


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
