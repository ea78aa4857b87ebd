"""A small plant and its visits for tests: the demo plant of a fixed month, so that figures stay."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, tzinfo
from pathlib import Path

from wqverify.book import Book, open_book
from wqverify.demo.ellodale import make_plant
from wqverify.demo.visits import visits
from wqverify.gather import gather
from wqverify.plant.folder import Plant
from wqverify.procedures import PROCEDURES
from wqverify.procedures.sheets import read_sheet
from wqverify.records.canonical import record_to_bytes
from wqverify.records.record import Case, compute, draft, number_it, software
from wqverify.terms import Previous, Record

MONTH = date(2026, 5, 1)
NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


class Clock:
    """Stands in for ``datetime`` in wqverify.cli.common: commands run on the day after the fixed month."""

    @staticmethod
    def now(zone: tzinfo) -> datetime:
        return NOW.astimezone(zone)


def plant_in(folder: Path) -> Plant:
    """Make the plant and write the sheets of its month, in the order of the work."""
    plant = make_plant(folder, MONTH)
    for visit in visits(MONTH):
        if visit.skipped:
            continue
        (folder / "field_sheets" / f"{visit.name}.toml").write_text(visit.sheet, "utf-8")
    return plant


def sheet_of(plant: Plant, name: str) -> Path:
    return plant.folder / "field_sheets" / f"{name}.toml"


def case_of(plant: Plant, name: str) -> Case:
    raw, document = read_sheet(sheet_of(plant, name))
    procedure = PROCEDURES[raw["procedure"]]
    return Case(procedure, raw, *gather(plant, None, procedure, raw, document))


def record_in(plant: Plant, name: str, number: str = "L1-2026-0001") -> Record:
    """Return a numbered record of a visit without a book or a notebook run."""
    case = case_of(plant, name)
    waiting = draft(case, compute(case))
    return number_it(waiting, number, Previous("L1", 1, "ab" * 32), NOW, software("n.ipynb", "0" * 64), {})


def bytes_of(plant: Plant, name: str) -> bytes:
    return record_to_bytes(record_in(plant, name))


def entered(plant: Plant, samples: Sequence[bytes], count: int) -> Book:
    """Enter the samples over and over into the book of a plant, half in May, half in June."""
    Path(plant.book).parent.mkdir(exist_ok=True)
    book = open_book(plant.book, "L1", create=True)
    with book.writing() as writer:
        for n in range(count):
            number = writer.next_number(2026)
            data = samples[n % len(samples)].replace(b'"L1-2026-0001"', f'"{number}"'.encode())
            said = {"tag": "AIT-2101", "serial": "EL-0417", "procedure": "ph_calibration", "visit": number}
            body = {**said, "by": "T-07", "performed": f"2026-0{5 + n * 2 // count}-04T08:05-04:00"}
            at = NOW.isoformat()
            writer.append("performed", key=number, record=number, at=at, stored=data, body=body)
    return book
