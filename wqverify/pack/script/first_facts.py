"""What stands first in the index of a pack: counted from its tables as it is made, and as it is checked."""

from typing import Any

COUNTED = ("index", "readings", "checks", "open")  # the tables it is counted from
WAITING = ("performed, not signed", "signed, not countersigned", "returned with a question")


def first_facts(tables: Any, month: str) -> "dict[str, str]":
    """Return what the page says first of the tables: rows by their heads, each table by its name.

    >>> tables = dict.fromkeys(COUNTED, ())
    >>> first_facts(tables, "2026-05")["Void or superseded"]
    '0'
    """
    index = tables["index"]
    good = sum(row["PDF against the book"] == "as in the book" for row in index)
    readings, checks = len(tables["readings"]), len(tables["checks"])
    here = [row for row in index if row["as found"] == "fail"]
    there = [row for row in index if "as found: fail" in row["control system"].split("; ")]
    ended = [row for row in index if not stands(row)]
    waits = sum(row["state"] in WAITING for row in index)
    later = sum(row["performed"][:7] != month for row in index)
    return {
        "Records": counted(len(index), later) if index else f"none: no work of {month} is in the book",
        "PDFs": f"{good} of {len(index)} are the files the book holds",
        "Readings": f"{readings} answers in readings.csv, {checks} judged quantities in checks.csv",
        "Failed as found": f"{standing(here)} at the analyzer, {standing(there)} at the control system",
        "Failed otherwise": listed([(row, failed_otherwise(row)) for row in index if failed_otherwise(row)]),
        "Void or superseded": listed([(row, "") for row in ended]),
        "Not countersigned": str(waits),
        "To be done": str(sum(row["what"] == "to be done" for row in tables["open"])),
    }


def counted(records: int, later: int) -> str:
    """Say how many of the records of a pack are of its month, and how many are about it.

    >>> counted(38, 1), counted(1, 0)
    ('37 records of the month and 1 about it', '1 record of the month')
    """
    own = records - later
    about = f" and {later} about it" if later else ""
    return f"{own} record{'' if own == 1 else 's'} of the month{about}"


def stands(row: "dict[str, str]") -> bool:
    """Return whether a record is neither voided nor superseded."""
    return row["state"] != "voided" and not row["state"].startswith("superseded")


def standing(rows: Any) -> str:
    """Return how many records these are, and how many of them stand where not all do."""
    left = sum(map(stands, rows))
    return f"{len(rows)}" + (f" ({left} of them stand{'s' if left == 1 else ''})" if left < len(rows) else "")


def failed_otherwise(row: "dict[str, str]") -> str:
    """Return which stages of a record failed, beside what was found.

    >>> row = {"as left": "fail", "other stages": "flow: pass", "control system": "as found: fail"}
    >>> failed_otherwise({**row, "control system": "as found: fail; as left: fail"})
    'as left, as left at the control system'
    """
    found = ["as left"] if row["as left"] == "fail" else []
    for head, place in (("other stages", ""), ("control system", " at the control system")):
        for said in row[head].split("; "):
            stage, _, outcome = said.rpartition(": ")
            if outcome == "fail" and (stage != "as found" or not place):
                found.append(f"{stage}{place}")
    return ", ".join(found)


def listed(rows: Any) -> str:
    """Return how many records these are, and which: (row, what is said of it)."""
    numbers = [row["record"] + (f" ({said})" if said else "") for row, said in rows]
    return f"{len(numbers)}" + (f": {'; '.join(numbers)}" if numbers else "")
