"""Records as the history reads them: checks, values, standards and what their entry says; all made up."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from wqverify.book import open_book
from wqverify.plant.folder import Plant

TAG, SERIAL, PROCEDURE = "AIT-2301", "EL-0611", "chlorine_check"
FIRST = date(2026, 1, 5)


def check(
    key: str,
    text: str | None,
    outcome: str = "pass",
    *,
    label: str = "Error",
    unit: str = "mg/L",
    low: str = "-0.1",
    high: str = "0.1",
    tolerance: bool = True,
    counts: bool = True,
    information: bool = False,
) -> dict[str, Any]:
    quantity = (
        None if text is None else {"text": text, "unit": unit, "expanded": "0.02", "value": float(text)}
    )
    return {
        "key": key,
        "stage": key.partition(".")[0],
        "label": label,
        "place": "analyzer",
        "outcome": outcome,
        "quantity": quantity,
        "tolerance": {"rule": "simple"} if tolerance else None,
        "low": low if tolerance else "",
        "high": high if tolerance else "",
        "counts": counts,
        "information": information,
    }


def value(key: str, text: str, unit: str = "1/cm") -> dict[str, Any]:
    stage = key.partition(".")[0]
    return {
        "key": key, "stage": stage, "label": key, "source": "",
        "quantity": {"text": text, "unit": unit, "expanded": "", "value": float(text)},
    }  # fmt: skip


def record(
    checks: Sequence[Mapping[str, Any]],
    values: Sequence[Mapping[str, Any]] = (),
    standards: Mapping[str, Mapping[str, Any]] | None = None,
) -> bytes:
    result = {"checks": list(checks), "values": list(values)}
    given = {"standards": dict(standards or {}), "times": {}}
    return json.dumps({"title": "Check", "result": result, "given": given, "sheet": {}}).encode()


def weekly(*errors: str | None, days: int = 5) -> list[tuple[str, bytes, dict[str, Any]]]:
    """Checks some days apart; None was not evaluated, outside 0.1 fails and is adjusted to 0."""
    rows = []
    for place, error in enumerate(errors):
        day = f"{FIRST + timedelta(days=days * place)}T08:00-06:00"
        failed = error is not None and abs(float(error)) > 0.1
        outcome = "not evaluated" if error is None else "fail" if failed else "pass"
        checks = [check("as_found.error", error or "0.00", outcome)]
        checks += [check("as_left.error", "0.00")] if failed else []
        told = {"outcomes": [["as_found at the analyzer", outcome]], "adjusted": "yes" if failed else "no"}
        rows.append((day, record(checks), told))
    return rows


def enter_rows(
    plant: Plant,
    rows: Sequence[tuple[str, bytes, Mapping[str, Any]]],
    *,
    tag: str = TAG,
    serial: str = SERIAL,
    procedure: str = PROCEDURE,
) -> None:
    with open_book(plant.book, plant.device, create=True).writing() as writer:
        for began, data, told in rows:
            number = writer.next_number(2026)
            body = {
                "tag": tag,
                "serial": serial,
                "procedure": procedure,
                "performed": began,
                "by": "T-11",
                "visit": f"{tag} {procedure} {began}",
                "outcomes": told["outcomes"],
                "facts": {"adjusted": told["adjusted"]},
            }
            writer.append("performed", key=f"p {number}", record=number, at=began, stored=data, body=body)
