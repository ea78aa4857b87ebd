"""What a PostgreSQL server can say, as one sentence with what to do."""

from __future__ import annotations

from wqverify.errors import CouldNotRun, RepairTheFolder, WqverifyError
from wqverify.plant.address import BY_OTHER_WAYS

# What a server says before it lets anybody in has no number, only words; another language gets the last.
_AT_THE_DOOR = (
    (("no password supplied",), f"it asks for a password and none was given: {BY_OTHER_WAYS}"),
    (
        ("authentication failed",),
        "it does not let this role in; check the role in the address and its password",
    ),
    (("no pg_hba.conf entry",), "it lets nobody in from this computer; its administrator allows it"),
    (
        ("role", "does not exist"),
        "there is no such role; correct the address, or have its administrator make the role",
    ),
    (
        ("database", "does not exist"),
        "there is no such database; correct the address, or have its administrator make the database",
    ),
    (("too many",), "it has too many connections open just now; try again in a minute"),
    (("starting up",), "it is just starting; try again in a minute"),
    (("shutting down",), "it is being stopped; try again when it runs"),
    (("definition of service",), "there is no such service in the service file; correct one of the two"),
)
_NOT_REACHED = "it cannot be reached; check that it runs, the network, and the address in plant.toml"


def cannot_connect(place: str, said: str) -> WqverifyError:
    """Return what is said where a server is not reached, or does not let in."""
    first = said.strip().splitlines()[0] if said.strip() else "no answer"
    known = [what for words, what in _AT_THE_DOOR if all(word in said for word in words)]
    return CouldNotRun(
        f"The book {place} could not be opened: {known[0] if known else _NOT_REACHED}. Nothing was entered. "
        f"({first})",
        found=first,
        where=place,
    )


def sentence(place: str, timeout_s: float, problem: BaseException | None) -> WqverifyError:
    """Return what is said of an error in the middle of the work; without one, of a role that may not look."""
    code = getattr(problem, "sqlstate", None) or ""
    said = str(problem).strip().splitlines()[0] if problem is not None and str(problem).strip() else ""
    known = _BY_CODE.get(code) or _BY_CLASS.get(code[:2])
    if problem is None or code == "42501":
        return CouldNotRun(
            f"The role of the address may not do this in the book {place}{_in_brackets(said)}; nothing was "
            f"entered. The owner of the database allows looking and adding: wqverify book prepare ADDRESS "
            f"--app-role ROLE.",
            found=said,
            where=place,
        )
    if code in ("42P01", "42703", "3F000"):
        return RepairTheFolder(
            f"The book {place} is damaged: a table or column is missing ({said}); its administrator "
            f"puts back the newest good copy.",
            found=said,
            where=place,
        )
    if code == "55P03":
        known = (
            f"was in use by another crew for {timeout_s:g} s; nothing was entered: wait until they have "
            f"finished, then run the same command again"
        )
    elif not code:
        known = _LOST
    known = known or (
        "refused; nothing was entered. This is a fault of the program: keep the sheet and report it"
    )
    return CouldNotRun(f"The book {place} {known}. ({said})", found=said, where=place)


def _in_brackets(said: str) -> str:
    return f" ({said})" if said else ""


_LOST = (
    "was lost in the middle of the work: the server or the network went away. Whether the last step was "
    "entered is not known; run the same command again: what is in the book is found, and never doubled"
)
_FULL = (
    "has no room left on its server; nothing was entered and nothing was lost: its administrator makes room, "
    "then run the same command again"
)
_BY_CODE = {
    "25006": "may only be read there; nothing was entered: name the server that is written to",
    "25P03": "ended the work, as nothing came for a while; nothing was entered: run the same command again",
    "53100": _FULL,
    "53200": _FULL,
    "57P01": _LOST,
    "57P02": _LOST,
}
_BY_CLASS = {"08": _LOST, "58": _FULL}
