"""The one kind of error that is meant for the person at the sprayer."""

from __future__ import annotations


class UserError(Exception):
    """Something the user gave or has to mend: one sentence saying what is wrong, where, and what to do.

    The command line prints the sentence and ends with exit code 2; a page shows it.
    """
