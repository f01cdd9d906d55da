"""``python -m diagnostics`` is ``dewswing``."""

from diagnostics.cli import main

main()
