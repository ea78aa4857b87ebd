"""A plant with a signed round, a skipped check and accepted changes, to make packs of."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta
from pathlib import Path

from plant_example import NOW
from round_example import BAD, plant_with_round, walked

from wqverify import acts
from wqverify.book import open_book
from wqverify.pack import Made, make_pack
from wqverify.plant.folder import Plant, open_plant

SECRET = b"a long enough one"
MONTH, NEXT = "2026-05", "2026-06"
FIRST, SECOND = "L1-2026-0001", "L1-2026-0002"  # passed and countersigned; failed and only signed
BEGUN = datetime(2026, 5, 2, 12, tzinfo=UTC)
LATE = NOW + timedelta(days=3)  # the second is signed so long after the work
MADE = NOW + timedelta(days=9)
BECAUSE = "the gallery was closed, and \u201cno key\u201d = no entry"


def plant_with_month(folder: Path) -> Plant:
    """Perform a round in May, sign both records, countersign one, ask about the other; skip and change."""
    plant = plant_with_round(folder / "plant")
    acts.make_authority(plant, folder / "keys", SECRET, BEGUN)
    for staff in ("T-07", "T-11", "S-02"):
        acts.issue_key(plant, folder / "keys", staff, SECRET, SECRET, BEGUN)
    acts.accept(plant, "S-02", "the register as this book began", BEGUN)
    _raise_the_interval(folder / "plant" / "analyzers.toml")
    plant = open_plant(folder / "plant")
    acts.accept(plant, "S-02", "twice a month is enough, letter of 4 May", BEGUN + timedelta(days=2))
    _skip(plant)
    acts.perform_walk(plant, [walked(plant, {"AIT-2102": BAD}).folder], NOW)
    acts.sign(plant, [FIRST], "T-07", folder / "keys", SECRET, NOW)
    acts.sign(plant, [SECOND], "T-07", folder / "keys", SECRET, LATE)
    acts.review(plant, [FIRST], "S-02", folder / "keys", SECRET, LATE)
    acts.ask(plant, SECOND, "S-02", "Why was it not adjusted?", LATE)
    return plant


def _raise_the_interval(register: Path) -> None:
    text = register.read_text("utf-8")
    assert "ph_calibration = 7" in text
    register.write_text(text.replace("ph_calibration = 7", "ph_calibration = 14", 1), "utf-8")


def _skip(plant: Plant) -> None:
    body = {"day": "2026-05-24", "round": "2026-05-24 weekly", "tag": "AIT-2101", "by": "T-07"}
    body |= {"procedure": "ph_calibration", "why": BECAUSE}
    at = (BEGUN + timedelta(days=22)).isoformat()
    with open_book(plant.book, plant.device).writing() as writer:
        writer.append("skipped", key="skipped once", at=at, body=body)


def pack_of(plant: Plant, place: Path, month: str = MONTH, *, as_zip: bool = False) -> Made:
    return make_pack(plant, month, place, MADE, as_zip=as_zip)


def table(folder: Path, name: str) -> list[dict[str, str]]:
    """Return the rows of a CSV file of a pack by their heads."""
    return list(
        csv.DictReader(io.StringIO((folder / f"{name}.csv").read_bytes().decode("utf-8-sig"), newline=""))
    )
