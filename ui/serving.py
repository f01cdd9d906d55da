"""Serves the front end in this very process, with the settings it needs wherever it is started from."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from streamlit.web import bootstrap

APP = Path(__file__).parent / "app.py"


def serve(address: str, port: int, upload_limit_mb: int) -> None:
    """Serve until told to stop; SIGINT and SIGTERM end it in order."""
    settings = _settings(address, port, upload_limit_mb)
    bootstrap.load_config_options(settings)
    try:
        bootstrap.run(str(APP), False, [], settings)
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


if __name__ == "__main__":
    serve(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
    print("dewswing has stopped.")
