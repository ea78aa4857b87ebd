"""The main job as a newcomer runs it: the demo, its outcomes, its signatures, its re-run."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from wqverify import audit
from wqverify.demo.ellodale import month_before
from wqverify.plant.folder import open_plant

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[dict[str, Any]]]:
    folder = tmp_path_factory.mktemp("demo")
    command = [sys.executable, "-m", "wqverify", "demo", "--json"]
    environment = {**os.environ, "WQVERIFY_KEYS": str(folder / "keys")}
    done = subprocess.run(command, capture_output=True, text=True, cwd=folder, env=environment)
    assert done.returncode == 0, done.stderr
    return folder, json.loads(done.stdout)


AS_FOUND, AS_LEFT = "as_found at the analyzer", "as_left at the analyzer"


def test_the_month_holds_every_kind_of_outcome(made: tuple[Path, list[dict[str, Any]]]) -> None:
    found = [(row["outcomes"].get(AS_FOUND), row["outcomes"].get(AS_LEFT)) for row in made[1]]
    assert found == [
        ("pass", "pass"),
        ("fail", "pass"),
        ("too close to decide", "too close to decide"),
        ("not evaluated", "not evaluated"),
        ("pass", "not evaluated"),
    ]


def test_every_record_is_countersigned_and_runs_again(made: tuple[Path, list[dict[str, Any]]]) -> None:
    for row in made[1]:
        assert row["state"] == "countersigned"
        assert row["rerun"] == "reproduced (page compared byte for byte)"


def test_every_file_holds_under_the_strict_check(made: tuple[Path, list[dict[str, Any]]]) -> None:
    folder, rows = made
    plant = open_plant(folder / "ellodale")
    for row in rows:
        found = audit.examine_file(folder / row["page"], plant)
        assert not found.damaged, found.findings
        assert found.examination.state == "signed and countersigned"
    assert not [f for f in audit.examine_book(plant, None, ()) if f.severity == "damaged"]


def test_the_tolerance_that_moved_is_on_the_next_record(made: tuple[Path, list[dict[str, Any]]]) -> None:
    folder, _rows = made
    book = audit.book_of(open_plant(folder / "ellodale"))
    changed = [json.loads(book.stored(f"L1-{year_of(book)}-000{n}"))["given"]["changes"] for n in (2, 3, 4)]
    assert changed[0] == []
    assert {("-0.15", "-0.10"), ("0.15", "0.10")} <= {(c["was"], c["now"]) for c in changed[1]}
    assert all(c["why"].startswith("EP-12 rev. 4") for c in changed[1])
    assert changed[2] == []


def year_of(book: Any) -> str:
    return str(next(iter(book.records())).number.split("-")[1])


def test_no_private_key_is_in_the_plant_folder(made: tuple[Path, list[dict[str, Any]]]) -> None:
    folder, _rows = made
    assert list((folder / "keys").rglob("*.p12"))
    for path in (folder / "ellodale").rglob("*"):
        assert path.suffix != ".p12"
        if path.is_file():
            assert b"PRIVATE " + b"KEY" not in path.read_bytes()


def test_the_demo_overwrites_nothing(made: tuple[Path, list[dict[str, Any]]]) -> None:
    folder, _rows = made
    done = subprocess.run(
        [sys.executable, "-m", "wqverify", "demo"], capture_output=True, text=True, cwd=folder
    )
    assert done.returncode == 2
    assert "ellodale is not empty" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("today", "month"),
    [
        (datetime(2026, 3, 1, 12, tzinfo=UTC), date(2026, 2, 1)),
        (datetime(2026, 1, 31, 12, tzinfo=UTC), date(2025, 12, 1)),
    ],
)
def test_the_demo_is_always_last_month(today: datetime, month: date) -> None:
    assert month_before(today) == month
