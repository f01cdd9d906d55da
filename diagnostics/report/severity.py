"""How urgent a finding is, in the terminal's colours."""

from __future__ import annotations

SEVERITY_STYLE = {"critical": "bold red", "warning": "bold yellow", "info": "cyan"}
