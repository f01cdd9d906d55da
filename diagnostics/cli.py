"""The command ``dewswing``: verbs, thin; each lives in a module of its own that is imported only when it is called."""

from __future__ import annotations

import difflib
import importlib
import os
import re
import sys

import click

from diagnostics.errors import UserError
from diagnostics.version import VERSION

VERBS = {
    "demo": "Make an invented plant's log, diagnose it and write the report.",
    "diagnose": "Diagnose a dryer from its dew point log.",
    "convert": "Convert one humidity reading, and check it against a limit.",
    "simulate": "Make a log with the dryer's model.",
    "what-if": "Reckon the energy side again with changed settings.",
    "compare": "Compare an installed transmitter with a portable reference.",
    "verify": "Check the savings really achieved after a change.",
    "plan": "Plan a measurement: where, how long, which settings.",
    "fleet": "Diagnose a folder of logs and rank them.",
    "serve": "Open the browser front end on this computer.",
}
_MATRIX_THREADS = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


class Verbs(click.Group):
    """Verbs by name, imported on demand, so that ``--help`` stays instant."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Verbs in the order of the help page."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the verb's module and take its ``verb``."""
        if cmd_name not in VERBS:
            return None
        module = importlib.import_module(f"diagnostics.verbs.{cmd_name.replace('-', '_')}")
        command: click.Command = module.verb
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the verb; a mistyped one is refused with the nearest that is there."""
        if args and not args[0].startswith("-") and args[0] not in VERBS:
            near = difflib.get_close_matches(args[0], VERBS, n=1)
            hint = f" (did you mean {near[0]}?)" if near else ""
            raise click.UsageError(f"There is no verb {args[0]!r}{hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the verbs without importing them."""
        with formatter.section("Verbs"):
            formatter.write_dl(list(VERBS.items()))


@click.group(
    cls=Verbs,
    context_settings={"help_option_names": ["-h", "--help"]},
    subcommand_metavar="VERB [LOG ...]",
    epilog="A verb's own help: dewswing VERB --help. Example: dewswing diagnose log.csv --plant plant.toml --report"
    " report.html",
)
@click.version_option(VERSION, prog_name="dewswing")
def dewswing() -> None:
    """Read the dew point log of a twin-tower desiccant dryer and say how dry, how healthy, how costly, what first."""


def main(arguments: list[str] | None = None) -> int:
    """Run the command and return its exit status: 0 done, 2 wrong usage, 3 input that cannot be used."""
    if arguments is None:
        # our matrices are small: threads spin over them for longer than they work; read when numpy is imported
        for name in _MATRIX_THREADS:
            os.environ.setdefault(name, "1")
    status = _run(arguments)
    if arguments is None:
        sys.exit(status)
    return status


def _run(arguments: list[str] | None) -> int:
    try:
        result = dewswing.main(args=arguments, prog_name="dewswing", standalone_mode=False)
        return result if isinstance(result, int) else 0
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        return 2
    except click.UsageError as error:
        name = error.ctx.command_path if error.ctx else _named(sys.argv[1:] if arguments is None else arguments)
        return _say(f"{_in_words(error.format_message().rstrip('.'))}; see {name} --help.", 2)
    except click.Abort:
        return _say("stopped; nothing half-written is left.", 130)
    except UserError as error:
        return _say(str(error), error.exit_status)
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except MemoryError:
        return _say("the input needs more memory than this computer has; cut it into shorter logs.", 3)
    except Exception as error:
        if os.environ.get("DEWSWING_DEBUG"):
            raise
        place = f"{type(error).__name__}: {' '.join(str(error).split())[:200]}"
        return _say(f"an error in dewswing itself ({place}); set DEWSWING_DEBUG=1 to see where, and report it.", 3)


def _named(arguments: list[str]) -> str:
    """The command as far as its verb is known."""
    return " ".join(["dewswing", *(word for word in arguments[:1] if word in VERBS)])


def _in_words(message: str) -> str:
    """The parser's message without its signs and its own words for verbs and ranges."""
    for sign, plain in _PLAIN:
        message = sign.sub(plain, message)
    return message


_PLAIN = (
    (re.compile(r"is not in the range ([\d.]+)<=x<=([\d.]+)"), r"is not within \1 to \2"),
    (re.compile(r"is not in the range x>=([\d.]+)"), r"is less than \1"),
    (re.compile(r"is not a valid float( range)?"), "is not a number"),
    (re.compile(r"is not a valid integer( range)?"), "is not a whole number"),
    (re.compile(r"Option ('[^']+') requires an argument"), r"\1 needs a value behind it"),
    (re.compile(r"Got unexpected extra arguments? \((.+)\)"), r"What \1 is for is not known"),
    (re.compile(r"\. \(Did you mean (.+)\?\)"), r" (did you mean \1?)"),
)


def _say(sentence: str, status: int) -> int:
    click.echo(f"dewswing: {' '.join(sentence.split())}", err=True)
    return status
