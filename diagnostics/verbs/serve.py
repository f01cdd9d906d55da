"""``dewswing serve``: the browser front end on this computer."""

from __future__ import annotations

import click

from diagnostics.errors import InputError


@click.command(name="serve", epilog="Example: dewswing serve --port 8600")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=8501,
    show_default=True,
    metavar="N",
    help="Port; 0 takes any free one.",
)
@click.option(
    "--address",
    default="127.0.0.1",
    show_default=True,
    metavar="ADDRESS",
    help="Interface to listen on; another one than this computer's own lets the network in.",
)
@click.option(
    "--upload-limit-mb",
    type=click.IntRange(1, 4000),
    default=400,
    show_default=True,
    metavar="N",
    help="Largest file taken [MB].",
)
def verb(port: int, address: str, upload_limit_mb: int) -> None:
    """Open the browser front end; it listens on this computer only unless told otherwise. Ctrl+C ends it."""
    import importlib.util
    import os
    import sys

    if importlib.util.find_spec("ui") is None:
        raise InputError("the browser pages are not installed beside the engine; install dewswing again.")
    port = _free_port(address, port)
    click.echo(f"dewswing is at http://{address}:{port} - Ctrl+C ends it.")
    sys.stdout.flush()
    # The front end takes this process over: the engine imports no screen, and nothing can outlive what was started.
    os.execv(sys.executable, [sys.executable, "-m", "ui.serving", address, str(port), str(upload_limit_mb)])


def _free_port(address: str, port: int) -> int:
    """The port if it can be listened on; any free one for 0.

    Raises
    ------
    InputError
        If the port is taken or not allowed, or the address is none of this computer's.
    """
    import errno
    import socket

    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
        except PermissionError:
            raise InputError(f"port {port} needs an administrator's rights; choose one from 1024 on.") from None
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                raise InputError(
                    f"port {port} at {address} is taken; choose another with --port, or --port 0 for any."
                ) from None
            raise InputError(
                f"{address} is no address of this computer; leave --address out to listen on this computer only."
            ) from None
        return int(probe.getsockname()[1])
