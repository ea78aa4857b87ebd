"""Enter records into a book, one after the other; run in a process of its own, which may be killed.

The test hands in ARGUMENTS: path, chain and keys; pages, a folder; heard, the file of what was
acknowledged; begun, a file made at the start; if wanted die_at, a step at which this process kills itself,
size, of a record, and file_limit, the bytes that a file may not pass.
"""

from __future__ import annotations

import os
import signal
from pathlib import Path
from typing import Any

from wqverify.book import open_book
from wqverify.errors import WqverifyError

AT = "2026-07-14T10:00:00-04:00"


def body(visit: str) -> dict[str, Any]:
    """What a performed entry must say."""
    return {
        "by": "P1",
        "tag": "AIT-2101",
        "serial": "EX-20417",
        "procedure": "ph_calibration",
        "visit": visit,
        "performed": "2026-07-14T09:00-04:00",
        "outcomes": {"as_found": "pass"},
        "values": {},
    }


def enter_all(
    path: str,
    chain: str,
    keys: list[str],
    pages: str,
    heard: str,
    begun: str,
    die_at: str = "",
    size: int = 200,
) -> None:
    """Enter a record for each key; write a page inside the transaction, acknowledge after it."""

    def step(name: str) -> None:
        if name == die_at:
            os.kill(os.getpid(), signal.SIGKILL)

    Path(begun).touch()
    book = open_book(path, chain, create=True)
    said = os.open(heard, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    for key in keys:
        with book.writing() as writer:
            number = writer.next_number(2026)
            Path(pages, f"{number}.pdf").write_text(key, "utf-8")
            step("page written")
            entry = writer.append(
                "performed", key=key, record=number, at=AT, body=body(key), stored=os.urandom(size)
            )
            step("entered")
        step("committed")
        os.write(said, f"{key}\t{entry.record}\t{'already' if entry.already else 'new'}\n".encode())


def run(arguments: dict[str, Any]) -> None:
    """Do as told; an error of wqverify is acknowledged like a record."""
    limit = arguments.pop("file_limit", 0)
    if limit:
        import resource

        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    try:
        enter_all(**arguments)
    except WqverifyError as problem:
        with open(arguments["heard"], "a", encoding="utf-8") as said:
            said.write(f"{type(problem).__name__}\t{problem.message}\n")


if __name__ == "__main__":
    run(globals()["ARGUMENTS"])
