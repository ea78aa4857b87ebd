"""Take another book in; run in a process of its own, which kills itself at a step.

The test hands in ARGUMENTS: path, of the book; other, the book taken in; die_at, how many batches of bytes
are asked for before the end comes (the batches are of one entry), "entered" or "committed".
"""

from __future__ import annotations

import os
import signal
from collections.abc import Mapping, Sequence
from typing import Any

from wqverify.book import InBook, join, joining, open_book


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


class Mortal(InBook):
    asked = 0
    end = -1

    def stored(self, digests: Sequence[str]) -> Mapping[str, bytes]:
        Mortal.asked += 1
        if Mortal.asked == Mortal.end:
            die()
        return super().stored(digests)


def run(path: str, other: str, die_at: Any) -> None:
    joining._AT_ONCE = 1
    Mortal.end = die_at if isinstance(die_at, int) else -1
    source = Mortal(open_book(other, "L2"), "the other")
    join(open_book(path, "L1", create=True), source, lambda _j: die() if die_at == "entered" else None)
    if die_at == "committed":
        die()


if __name__ == "__main__":
    run(**globals()["ARGUMENTS"])
