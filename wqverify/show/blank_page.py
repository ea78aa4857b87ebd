"""The page of a blank field sheet, to write on by hand: at most two sheets of US Letter for every procedure.

It is handed plain data (what is asked, in which order, what is on hand) and draws it. Where it does not fit,
it is drawn again with fewer spare rows and shorter lists; no question and no caution is ever left out.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from typing import Any

from wqverify.show import wording
from wqverify.show.lookup import tolerance_words
from wqverify.show.page import FOLDER, compiled, plain_text
from wqverify.terms import Tolerance

NOT_A_RECORD = "blank field sheet, not a record"
PAGES = 2


@dataclass(frozen=True)
class Fit:
    """How generously a page is filled: boxes for readings, entries of lists, letters of a text, air."""

    boxes: int
    bottles: int
    letters: int
    between: float  # points between two parts
    rows: tuple[int, ...] = ()  # of each table, in the order of the sheet
    high: float = 17.2  # points, of a line: 6.07 mm, the least a hand with a wet pen needs


FITS = (
    Fit(7, 12, 120, 0.4),
    Fit(7, 10, 80, 0.4),
    Fit(6, 10, 60, 0.4),
    Fit(6, 8, 44, 0.2),
    Fit(6, 6, 30, 0.2),
)
# Where room is left.
MORE = (16, 8, 4, 2)
HIGHER = (21.0, 19.5, 18.0)
AIR = (5.0, 2.5, 1.2)


def make_blank_page(sheet: Mapping[str, Any]) -> bytes:
    """Return the PDF of a blank field sheet, as plain data of ``wqverify.entry.paper``.

    Raises CouldNotRun where the compiler warns.
    """
    made = datetime.combine(date.fromisoformat(sheet["printed"]), time(), UTC)
    template = (FOLDER / "blank_1.typ").read_bytes()

    def drawn(fit: Fit) -> bytes:
        return compiled(template, {"sheet": json.dumps(_drawn(sheet, fit))}, made)

    tables = [table for section in sheet["sections"] for table in section["tables"]]
    least = tuple(table["least"] for table in tables)
    for fit in FITS:
        best = replace(fit, rows=least)
        page = drawn(best)
        if _count(page) <= PAGES:
            break
    most = tuple(table["wanted"] for table in tables)
    for more in MORE:  # to all tables at once, which is quicker
        rows = tuple(min(w, n + more) for w, n in zip(most, best.rows, strict=True))
        best, page = _wider(drawn, best, page, replace(best, rows=rows))
    turns = max([0, *(w - n for w, n in zip(most, best.rows, strict=True))])
    full: set[int] = set()  # tables that cannot have another row
    for place in [*range(len(most))] * turns:  # a row for each table in turn
        if place not in full:
            before = best
            best, page = _wider(drawn, best, page, _another_row(best, place, most[place]))
            full |= {place} if best == before else set()
    for high in HIGHER:
        best, page = _wider(drawn, best, page, replace(best, high=max(best.high, high)))
    for air in AIR:
        best, page = _wider(drawn, best, page, replace(best, between=max(best.between, air)))
    return page


def _wider(drawn: Callable[[Fit], bytes], best: Fit, page: bytes, tried: Fit) -> tuple[Fit, bytes]:
    """Return what was tried where it fits, else what was there."""
    if tried != best and _count(made := drawn(tried)) <= PAGES:
        return tried, made
    return best, page


def _another_row(fit: Fit, place: int, most: int) -> Fit:
    rows = list(fit.rows)
    rows[place] = min(most, rows[place] + 1)
    return replace(fit, rows=tuple(rows))


def _drawn(sheet: Mapping[str, Any], fit: Fit) -> dict[str, Any]:
    """Return what the template draws at this fit."""
    plain = plain_text({**sheet, "tolerances": list(map(_tolerance, sheet["tolerances"]))})
    bottles, cut = plain["bottles"], fit.letters
    return {
        **plain,
        "plant": _cut(plain["plant"], 60),
        "facts": [(label, _cut(text, cut)) for label, text in plain["facts"] if text],
        "tolerances": [{**one, "source": _cut(one["source"], cut)} for one in plain["tolerances"]],
        "binds": [{**one, "source": _cut(one["source"], cut)} for one in plain["binds"]],
        "bottles": [
            {**one, "name": _cut(one["name"], cut // 2 + 10), "lot": _cut(one["lot"], cut // 2)}
            for one in bottles[: fit.bottles]
        ],
        "more": max(0, len(bottles) - fit.bottles),
        "unfit": _cut(", ".join(plain["unfit"]), 2 * cut),
        "last": _cut(plain["last"], 2 * cut),
        "sections": _sections(plain["sections"], fit),
        "boxes": fit.boxes,
        "between": fit.between,
        "high": fit.high,
        "names": plain.get("names", []),
        "not-a-record": NOT_A_RECORD,
        "synthetic": wording.SYNTHETIC if sheet["synthetic"] else "",
    }


def _tolerance(judged: Mapping[str, Any]) -> dict[str, str]:
    held = Tolerance(**judged["tolerance"])
    return {
        "label": judged["label"],
        "bounds": tolerance_words(held),
        "rule": held.rule,
        "source": held.source,
    }


def _sections(sections: list[dict[str, Any]], fit: Fit) -> list[dict[str, Any]]:
    rows = iter(fit.rows)
    return [
        {**section, "tables": [{**table, "rows": next(rows)} for table in section["tables"]]}
        for section in sections
    ]


def _cut(text: str, letters: int) -> str:
    """Return what of a text fits; the whole text stands in the plant folder."""
    return text if len(text) <= letters else text[: letters - 1].rstrip() + "…"


def _count(pdf: bytes) -> int:
    """Return how many pages the compiler made: it writes the root of the page tree in plain."""
    return max(map(int, re.findall(rb"/Count (\d+)", pdf)))
