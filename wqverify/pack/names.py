"""Names of files that every computer can hold, Windows among them."""

from __future__ import annotations

import re

# What Windows keeps for devices, with whatever comes after a point.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}
_UNSAFE = re.compile(r"[^A-Za-z0-9._-]")


def safe(name: str) -> str:
    """Return a name that Windows, macOS and Linux take, the same where it is one already.

    >>> safe("L1-2026-0001.pdf"), safe("T 07: Zoë.pem"), safe("con.pem"), safe("..")
    ('L1-2026-0001.pdf', 'T_07__Zo_.pem', '_con.pem', '_')
    """
    clean = _UNSAFE.sub("_", name).rstrip(".")
    if not clean:
        return "_"
    return f"_{clean}" if clean.split(".")[0].lower() in _DEVICES else clean


class Names:
    """Gives names of which no two are the same in letters of one size, as Windows compares them."""

    def __init__(self) -> None:
        self._taken: set[str] = set()

    def free(self, name: str) -> str:
        """Return a safe name that was not given before.

        >>> names = Names()
        >>> names.free("L1-2026-0001.pdf"), names.free("l1-2026-0001.pdf")
        ('L1-2026-0001.pdf', 'l1-2026-0001-2.pdf')
        """
        wanted = safe(name)
        stem, point, ending = wanted.rpartition(".")
        if not point:
            stem, ending = wanted, ""
        count, found = 1, wanted
        while found.lower() in self._taken:
            count += 1
            found = f"{stem}-{count}{point}{ending}"
        self._taken.add(found.lower())
        return found
