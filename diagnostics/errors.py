"""What goes wrong between a user and the engine, each as one sentence a mechanic understands."""

from __future__ import annotations


class UserError(Exception):
    """Base of everything that is told to the user in one sentence, never as a traceback."""

    exit_status = 3


class UsageError(UserError):
    """An unknown verb, flag, quantity or report kind."""

    exit_status = 2


class InputError(UserError):
    """A log, plant file or folder that cannot be used; the sentence says where and what would mend it."""

    exit_status = 3
