"""The chart page of a round: every analyzer with its errors as shares of its tolerances, on unsigned paper.

It judges nothing: outcomes, values and limits are those of the records, and the page says their numbers. A
pure function of the records and of what was skipped, so that making it again gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from wqverify.show import wording
from wqverify.show.lookup import NONE, bounds, person, signed, stage_name, when, with_unit
from wqverify.show.page import FOLDER, compiled, plain_text
from wqverify.terms import Check, Outcome, Record, Site

UNSIGNED = "Unsigned overview. The records it names are what counts; each is signed by itself."
ENDS = Decimal("1.5")  # of the axis, in shares of the tolerance; what lies beyond is drawn at the end


@dataclass(frozen=True)
class RoundRow:
    """One stop in walking order: its record, or why it was skipped."""

    tag: str
    title: str
    record: Record | None
    skipped: str = ""


@dataclass(frozen=True)
class RoundPage:
    """A round as walked on one day."""

    name: str
    date: str
    site: Site
    rows: tuple[RoundRow, ...]


def make_round_page(page: RoundPage, made: str) -> bytes:
    """Return the PDF of a round. ``made`` is when the last of its entries was made (ISO 8601)."""
    about = {
        "plant": page.site.name,
        "title": f"Round {page.name}",
        "below": f"{page.date}, {_counted(page)}",
        "synthetic": wording.SYNTHETIC if page.site.synthetic else "",
        "unsigned": UNSIGNED,
        "made": when(made),
        "ends": str(ENDS),
    }
    stops = [_stop(number, row) for number, row in enumerate(page.rows, 1)]
    inputs = {"about": json.dumps(plain_text(about)), "stops": json.dumps(plain_text(stops))}
    template = (FOLDER / "round_1.typ").read_bytes()
    return compiled(template, inputs, datetime.fromisoformat(made).astimezone(UTC))


def share(check: Check) -> Decimal | None:
    """Return a judged error as a share of the limit on its side; None where there is no such limit.

    1 is the limit itself; the sign is that of the error. A quantity whose limits do not lie about zero (a
    slope of 95 to 105 %) is no error and has none.
    """
    limit = _limit(check)
    return check.quantity.decimal / limit if check.quantity is not None and limit else None


def expanded_share(check: Check) -> Decimal | None:
    """Return U as a share of the limit on the side of the error."""
    limit = _limit(check)
    if check.quantity is None or not check.quantity.expanded or not limit:
        return None
    return Decimal(check.quantity.expanded) / limit


def _limit(check: Check) -> Decimal | None:
    """Return the size of the limit on the side of the error."""
    low, high = (Decimal(bound) if bound else None for bound in (check.low, check.high))
    if check.quantity is None or (low is not None and low > 0) or (high is not None and high < 0):
        return None
    limit = high if check.quantity.decimal >= 0 else low
    return abs(limit) if limit else None


def _counted(page: RoundPage) -> str:
    skipped = sum(row.record is None for row in page.rows)
    count = len(page.rows)
    stops = "1 stop" if count == 1 else f"{count} stops"
    return f"{stops} in walking order" + (f", {skipped} skipped" if skipped else "")


def _stop(number: int, row: RoundRow) -> dict[str, Any]:
    if row.record is None:
        about = {"tag": row.tag, "title": row.title, "number": "", "who": "", "checks": []}
        return {"place": number, **about, "skipped": row.skipped}
    record = row.record
    return {
        "place": number,
        "tag": row.tag,
        "title": row.title,
        "number": record.number,
        "who": f"{when(record.performed)}, {person(record, record.performed_by)}",
        "skipped": "",
        "checks": list(_checks(record)),
    }


def _checks(record: Record) -> Iterator[dict[str, Any]]:
    """Give each check that counts, as it stands in the record."""
    for check in record.result.checks:
        if not check.counts:
            continue
        quantity, part = check.quantity, share(check)
        unit = quantity.unit if quantity else ""
        stage = stage_name(check.stage)
        yield {
            "stage": stage if check.place == "analyzer" else f"{stage}, {check.place}",
            "label": check.label,
            "error": with_unit(signed(quantity, as_difference=part is not None), unit) if quantity else NONE,
            "tolerance": bounds(check.low, check.high, unit),
            "outcome": str(check.outcome),
            "reason": check.reason if check.outcome is Outcome.NOT_EVALUATED else "",
            "share": "" if part is None else f"{part:+.2f}",
            "at": None if part is None else float(part),
            "u": None if (u := expanded_share(check)) is None else float(u),
        }
