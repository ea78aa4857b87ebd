"""Rows of a table shown elsewhere: each is laid beside the one it should say, whichever were removed."""

from typing import Any

from wqverify.pack.script.said import DASH, Report

# What a row is told by; a table not named here is told by its whole rows.
ROW_KEYS = {
    "index": ("record",),
    "plan": ("analyzer", "procedure name", "due"),
    "certificates": ("file",),
}
Rows = Any  # list of lists of texts


def pairs_of(wanted: Rows, found: Rows, key: "list[int]") -> "list[Any]":
    """Return pairs of places: rows that are the same, then those of one key, then what is alike, in order.

    A row that has no fellow stands beside None.

    >>> pairs_of([["a", "1"], ["b", "2"], ["c", "3"]], [["a", "1"], ["c", "4"]], [0])
    [(0, 0), (2, 1), (1, None)]
    """
    pairs: list[Any] = []
    left = list(range(len(wanted)))
    for told_by in (tuple, lambda row: tuple(row[n] for n in key if n < len(row))):
        taken = {there for _, there in pairs}
        free: dict[Any, list[int]] = {}
        for there in range(len(found) - 1, -1, -1):
            if there not in taken:
                free.setdefault(told_by(found[there]), []).append(there)
        for here in left:
            fellows = free.get(told_by(wanted[here]))
            if fellows:
                pairs.append((here, fellows.pop()))
        paired = {here for here, _ in pairs}
        left = [here for here in left if here not in paired]
    taken = {there for _, there in pairs}
    rest = [there for there in range(len(found)) if there not in taken]
    if len(left) == len(rest) and not key:
        return pairs + [
            pair
            for here, there in zip(left, rest)  # noqa: B905 (Python 3.8)
            for pair in (
                [(here, there)] if alike(wanted[here], found[there]) else [(here, None), (None, there)]
            )
        ]
    return pairs + [(here, None) for here in left] + [(None, there) for there in rest]


def alike(one: "list[str]", other: "list[str]") -> bool:
    """Return whether at least half of the cells of a row are those of another."""
    return 2 * sum(a == b for a, b in zip(one, other)) >= len(one)  # noqa: B905 (Python 3.8)


def compare_rows(
    where: str, table: str, heads: "list[str]", wanted: Rows, found: Rows, report: Report
) -> None:
    """Compare the rows that are shown at a place with those of a table, under these heads."""
    named = ROW_KEYS.get(table, ())
    key = [heads.index(name) for name in named if name in heads]
    pairs = pairs_of(wanted, found, key)
    for here, there in pairs:
        if there is None:
            report.once(f"{where}: the row of {called(wanted[here], key)} is missing, which {table}.csv has.")
        elif here is None:
            report.once(f"{where}: a row more, of {called(found[there], key)}, which {table}.csv has not.")
        else:
            compare_cells(
                f"{where}, {called(wanted[here], key)}", table, heads, wanted[here], found[there], report
            )
    order = [there for here, there in sorted(each for each in pairs if None not in each)]
    if order != sorted(order):
        report.once(f"{where} shows the rows of {table}.csv in another order.")


def compare_cells(
    row: str, table: str, heads: "list[str]", wanted: "list[str]", found: "list[str]", report: Report
) -> None:
    """Compare the cells of one row."""
    for number, name in enumerate(heads):
        if number >= len(found):
            report.bad.append(f"{row}: there is no cell of {name}.")
        elif wanted[number] != found[number]:
            told, cell = quoted(found[number]), quoted(wanted[number])
            report.bad.append(f"{row}: {name} says {told}, {table}.csv {cell}.")
    if len(found) > len(heads):
        report.bad.append(f"{row}: a cell more than {table}.csv has: {quoted(found[len(heads)])}.")


def called(row: "list[str]", key: "list[int]") -> str:
    """Return what a row is called: its key, or its first cells."""
    return ", ".join(row[n] for n in (key or range(3)) if n < len(row))[:120] or "nothing"


def quoted(cell: str) -> str:
    """Return a cell as a sentence tells it.

    >>> quoted("pass"), quoted(DASH)
    ('"pass"', 'nothing')
    """
    return "nothing" if cell == DASH else f'"{cell}"'
