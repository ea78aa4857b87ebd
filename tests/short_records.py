"""Records with as much in them as the list of today looks at, entered without a visit."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from wqverify.book import open_book
from wqverify.plant.folder import Plant
from wqverify.records.canonical import canonical

Sheet = Mapping[str, Any]
IN_SERVICE = {"status": {"state": "in service"}}


def record(sheet: Sheet, day: str) -> bytes:
    """As much of a record as the list looks at, as the book keeps it."""
    times = {"started": f"{day}T08:00-05:00", "finished": f"{day}T09:00-05:00"}
    parts = {name: part["at"] for name, part in sheet.items() if "at" in part}
    times |= {f"{name}.at": f"{day}T{at}-05:00" for name, at in parts.items()}
    given = {"times": times, "changes": ["." * 20_000]}
    head = {"procedure": "ph_calibration", "performed_by": "T-07"}
    return canonical({**head, "sheet": {**IN_SERVICE, **sheet}, "given": given})


def enter(
    plant: Plant,
    *visits: tuple[str, Sheet | bytes],
    tag: str = "AIT-2101",
    procedure: str = "ph_calibration",
    round_: str = "",
    more: Mapping[str, Any] = MappingProxyType({}),
) -> None:
    """Enter visits of one analyzer: when each began, and its sheet or the bytes of its record."""
    with open_book(plant.book, plant.device, create=True).writing() as writer:
        for began, sheet in visits:
            number = writer.next_number(2026)
            data = sheet if isinstance(sheet, bytes) else record(sheet, began[:10])
            body = {"tag": tag, "serial": "EL-1", "procedure": procedure, "performed": began, "by": "T-07"}
            body |= (
                {"visit": f"{tag} {procedure} {began}"} | ({"round": round_} if round_ else {}) | dict(more)
            )
            key = f"performed {number}"
            writer.append("performed", key=key, record=number, at=began, stored=data, body=body)
