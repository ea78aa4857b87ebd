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
from wqverify.lists.opened import opened
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


STORY = ("monitor_outage", "values_in_doubt", "turbidity_month")
AS_FOUND, AS_LEFT = "as_found at the analyzer", "as_left at the analyzer"


def of(tag: str, made: tuple[Path, list[dict[str, Any]]]) -> list[tuple[str | None, str | None]]:
    rows = [row for row in made[1] if row["tag"] == tag and row["number"]]
    return [(row["outcomes"].get(AS_FOUND), row["outcomes"].get(AS_LEFT)) for row in rows]


def test_the_month_holds_every_kind_of_outcome(made: tuple[Path, list[dict[str, Any]]]) -> None:
    assert of("AIT-2101", made) == [
        ("pass", "pass"),
        ("fail", "pass"),
        ("too close to decide", "too close to decide"),
        ("not evaluated", "not evaluated"),
        ("pass", "not evaluated"),
    ]
    passed = ("pass", "pass")
    assert of("AIT-2201", made) == [(None, None), passed, passed, passed, passed, passed]
    assert of("AIT-2202", made) == [
        passed,
        ("fail", "pass"),
        passed,
        (None, None),
        (None, None),
        passed,
        passed,
    ]
    assert [of(tag, made) for tag in ("AIT-2401", "TIT-1201")] == [[passed], [passed]]
    # the call-out by night judges its signal, not the transmitter; the loop check of the day after does
    assert of("LIT-1102", made) == [(None, None), ("fail", "pass")]
    (night,) = [row for row in made[1] if "found by night" in row["story"]]
    assert night["outcomes"] == {"as_found at the control system": "fail"}
    assert of("AIT-2301", made) == [("pass", None)] * 3 + [("fail", "pass")] + [("pass", None)] * 2


def test_one_failure_runs_through_outage_doubt_and_month_to_the_pack(
    made: tuple[Path, list[dict[str, Any]]],
) -> None:
    """The film on filter 2: grabs while it waits for its gasket, a pair above 1.0 NTU that is none."""
    folder, rows = made
    plant = open_plant(folder / "ellodale")
    states = {s.procedure: s for s in audit.book_of(plant).records() if s.procedure in STORY}
    failed = next(
        row["number"] for row in rows if row["tag"] == "AIT-2202" and row["outcomes"].get(AS_FOUND) == "fail"
    )
    assert states["monitor_outage"].facts["answers"] == states["values_in_doubt"].facts["answers"] == failed
    assert states["monitor_outage"].outcomes == {"duties at the analyzer": "pass"}
    month = json.loads(audit.book_of(plant).stored(states["turbidity_month"].number))
    pairs = [
        (check["stage"], check["quantity"]["text"], check["outcome"])
        for check in month["result"]["checks"]
        if check["label"] == "AIT-2202, pairs of recordings running above 1.0 NTU"
    ]
    assert pairs == [("no_filter_to_report", "1", "fail"), ("no_filter_to_report_corrected", "0", "pass")]
    assert failed not in [one.number for one in opened(audit.book_of(plant))]
    (pack,) = (folder / "ellodale" / "audit_packs").iterdir()
    assert len(list((pack / "pages").glob("*.pdf"))) == len([row for row in rows if row["number"]])
    command = [sys.executable, "-I", "-S", "verify_chains.py"]
    checked = subprocess.run(command, capture_output=True, text=True, cwd=pack)
    assert checked.returncode == 0, checked.stdout


def test_grabs_are_compared_refused_and_undecided(made: tuple[Path, list[dict[str, Any]]]) -> None:
    """One pair by typed values, one by an export, one in changing water, one below detection."""
    folder, rows = made
    book = audit.book_of(open_plant(folder / "ellodale"))
    found = []
    for row in rows:
        if row["number"] and book.find(row["number"]).procedure == "grab_comparison":  # type: ignore[union-attr]
            record = json.loads(book.stored(row["number"]))
            check = next(c for c in record["result"]["checks"] if c["key"].startswith("as_found.grab_1"))
            found.append((check["outcome"], len(record["given"]["trends"]), len(record["given"]["attached"])))
    assert found == [("pass", 0, 0), ("pass", 1, 1), ("not evaluated", 1, 1), ("not evaluated", 0, 0)]


FAR = ("as_found at the control system", "as_left at the control system")


@pytest.mark.parametrize(
    ("tag", "far", "named"),
    [
        (
            "LIT-3101",
            ("fail", "pass"),
            "our control system is scaled to 0 to 35 ft, the transmitter to 0 to 40",
        ),
        (
            "FIT-1101",
            ("fail", "pass"),
            "the square root is taken once too often between the meter and the con",
        ),
        ("LIT-1102", ("fail", None), "the current sticks near 17.54 mA: the supply is used up"),
    ],
)
def test_what_is_wrong_along_a_signal_is_named_by_the_record(
    made: tuple[Path, list[dict[str, Any]]], tag: str, far: tuple[str, str | None], named: str
) -> None:
    """The record says it as a candidate, and how the far end was found and left."""
    folder, rows = made
    *_, row = [row for row in rows if row["tag"] == tag]
    assert (row["outcomes"].get(FAR[0]), row["outcomes"].get(FAR[1])) == far
    record = json.loads(audit.book_of(open_plant(folder / "ellodale")).stored(row["number"]))
    (note,) = [note["text"] for note in record["result"]["notes"] if named in note["text"]]
    assert "andidate" in note


def test_a_check_that_did_not_happen_is_as_visible_as_one_that_failed(
    made: tuple[Path, list[dict[str, Any]]],
) -> None:
    folder, rows = made
    (skipped,) = [row for row in rows if row["state"] == "skipped"]
    assert (skipped["tag"], skipped["number"], skipped["page"]) == ("AIT-2210", "", None)
    (entry,) = audit.book_of(open_plant(folder / "ellodale")).events("skipped")
    assert (
        entry.body["why"] == skipped["story"] == "the clearwell gallery was closed for the crane inspection"
    )


def test_a_value_is_assigned_after_the_calibration_that_gives_it(
    made: tuple[Path, list[dict[str, Any]]],
) -> None:
    folder, rows = made
    plant = open_plant(folder / "ellodale")
    book = audit.book_of(plant)
    calibration = next(s for s in book.records() if s.procedure == "turbidity_calibration")
    row = plant.standards["S-05"].assigned_to("AIT-2201", rows[-1]["day"])
    assert row is not None
    assert (row.after, str(row.value)) == (calibration.number, calibration.facts["assigned.S-05"])


def test_the_reviewer_asked_and_was_answered(made: tuple[Path, list[dict[str, Any]]]) -> None:
    book = audit.book_of(open_plant(made[0] / "ellodale"))
    (asked,), (answered,) = book.events("returned with a question"), book.events("answered")
    assert asked.record == answered.record
    state = book.find(asked.record)
    assert state is not None
    assert state.state == "countersigned"
    assert state.outcomes[AS_FOUND] == "fail"


def test_every_round_has_its_chart_page(made: tuple[Path, list[dict[str, Any]]]) -> None:
    pages = sorted((made[0] / "ellodale" / "book" / "rounds").glob("*.pdf"))
    assert len(pages) == 5
    assert all(page.read_bytes().startswith(b"%PDF-") for page in pages)


def test_every_record_is_countersigned_and_runs_again(made: tuple[Path, list[dict[str, Any]]]) -> None:
    records = [row for row in made[1] if row["number"]]
    assert len(records) == 38
    for row in records:
        assert row["state"] == "countersigned"
        assert row["rerun"] == "reproduced (page compared byte for byte)"


def test_every_file_holds_under_the_strict_check(made: tuple[Path, list[dict[str, Any]]]) -> None:
    folder, rows = made
    plant = open_plant(folder / "ellodale")
    for row in rows:
        if not row["number"]:
            continue
        found = audit.examine_file(folder / row["page"], plant)
        assert not found.damaged, found.findings
        assert found.examination.state == "signed and countersigned"
    assert not [f for f in audit.examine_book(plant, None, ()) if f.severity == "damaged"]


def test_the_tolerance_that_moved_is_on_the_next_record(made: tuple[Path, list[dict[str, Any]]]) -> None:
    folder, rows = made
    book = audit.book_of(open_plant(folder / "ellodale"))
    numbers = [row["number"] for row in rows if row["tag"] == "AIT-2101"]
    changed = [json.loads(book.stored(number))["given"]["changes"] for number in numbers]
    assert changed[1] == []
    assert {("-0.15", "-0.10"), ("0.15", "0.10")} <= {(c["was"], c["now"]) for c in changed[2]}
    assert all(c["why"].startswith("EP-12 rev. 4") for c in changed[2])
    assert changed[3] == []


def test_every_record_cites_the_proof_of_this_computer(made: tuple[Path, list[dict[str, Any]]]) -> None:
    folder, rows = made
    (proof,) = (folder / "ellodale" / "proofs").iterdir()
    book = audit.book_of(open_plant(folder / "ellodale"))
    cited = [json.loads(book.stored(row["number"]))["software"]["proof"] for row in rows if row["number"]]
    assert {(one["file"], tuple(one["failed"])) for one in cited} == {(proof.name, ())}


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
        (datetime(2026, 3, 2, 23, tzinfo=UTC), date(2026, 1, 1)),
        (datetime(2026, 3, 3, 0, tzinfo=UTC), date(2026, 2, 1)),
        (datetime(2026, 1, 31, 12, tzinfo=UTC), date(2025, 12, 1)),
    ],
)
def test_the_demo_is_the_last_month_whose_papers_can_be_written(today: datetime, month: date) -> None:
    assert month_before(today) == month
