"""What can go wrong, named by what the user has to do about it.

Every message is one plain sentence or two: what was found, what was expected, where, what to do.
The facts also sit in attributes, so that a program can read them.
"""

from __future__ import annotations


class WqverifyError(Exception):
    """Base of all errors that a user of wqverify is told about.

    Parameters
    ----------
    message : str
        The sentence the user reads.
    found, expected, where : str
        The facts in it, empty where there is none.
    """

    exit_code = 2

    def __init__(self, message: str, *, found: str = "", expected: str = "", where: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.found = found
        self.expected = expected
        self.where = where

    def __str__(self) -> str:
        return self.message


class CorrectTheEntry(WqverifyError):
    """Something typed cannot be taken as it stands: correct the entry and run again."""


class ChooseAnother(WqverifyError):
    """A standard, instrument, table or person cannot be used for this: choose another way."""


class RepairTheFolder(WqverifyError):
    """A plant folder, its book or its certificates are missing or incomplete: repair it first."""

    exit_code = 3


class CouldNotRun(WqverifyError):
    """The work could not be carried out on this machine; nothing was lost, run again."""

    exit_code = 3


class ResultsDiffer(WqverifyError):
    """Two computations of one thing disagree, or a file is not what it was: find out why."""

    exit_code = 1
