"""Published values run on this computer: what holds, what fails and says so, and which records cite it."""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from plant_example import NOW, plant_in, record_in, sheet_of
from printed import values as reference_values

from wqverify import acts, audit
from wqverify.acts.proof import newest_proof
from wqverify.audit import book_of
from wqverify.errors import CorrectTheEntry
from wqverify.plant.folder import Plant, open_plant
from wqverify.proofs import prove as proofs
from wqverify.proofs.prove import COMPUTED, Published, computer_here, prove, published
from wqverify.records.canonical import digest, record_from, record_to_bytes
from wqverify.show.blocks import blocks
from wqverify.show.terminal import text
from wqverify.terms import Proof

PROOF = Proof("2026-05-30T08:00:00-04:00", "2026-05-30 080000 L1.json", "ab" * 32, 126)
FAILED = replace(PROOF, failed=("A01 k at 0 C: 54.3, not 54.1988", "A05 slope: 1, not -59.4324"))


# ---------------------------------------------------------------- the values


def test_at_least_forty_values_come_out_as_printed() -> None:
    run = prove(NOW, "L1")
    assert len(run.values) >= 40
    assert [value.told for value in run.failed] == []
    assert {one.id for one in published()} == set(COMPUTED)
    assert all(one.id[0] in "AW" for one in published())


def test_each_value_has_a_source_and_a_tolerance_that_follows_from_its_digits() -> None:
    seen = set()
    for one in published():
        assert one.source, one
        assert (one.id, one.quantity) not in seen
        seen.add((one.id, one.quantity))
        if one.tolerance.endswith(" relative"):
            continue
        if one.tolerance != proofs.EXACT:
            last = Decimal(1).scaleb(int(Decimal(one.printed).as_tuple().exponent))
            assert Decimal(one.tolerance) == last / 2, one


def test_the_values_are_those_of_the_reference_values() -> None:
    """Where the tests hold a value too, both files have it from one source."""
    same = 0
    for one in published():
        known = reference_values().get((one.id, one.quantity))
        if known is not None:
            same += 1
            tolerance = {"0": proofs.EXACT}.get(known.tolerance, known.tolerance)
            assert (known.text, tolerance, known.source) == (one.printed, one.tolerance, one.source)
    assert same > 80


@pytest.mark.parametrize(
    ("printed", "tolerance", "computed", "holds"),
    [
        ("7.06", "0.005", 7.0649, True),
        ("7.06", "0.005", Decimal("7.065"), True),  # exactly at half of the last digit
        ("7.06", "0.005", 7.0651, False),
        ("7.06", "0.005", math.nan, False),
        ("1000", "1e-9 relative", 1000.000001, True),
        ("1000", "1e-9 relative", 1000.0000011, False),
        ("0.25", "exact", Decimal("0.25"), True),
        ("0.25", "exact", 0.25000001, False),
        ("pass", "exact", "pass", True),
        ("pass", "exact", "fail", False),
        ("pass", "exact", None, False),
    ],
)
def test_a_value_holds_up_to_half_of_its_last_digit(
    printed: str, tolerance: str, computed: Any, holds: bool
) -> None:
    assert Published("A00", "x", printed, tolerance, "printed", "by hand").holds(computed) is holds


def refuse() -> Mapping[str, Any]:
    raise CorrectTheEntry("not on this computer")


def divide() -> Mapping[str, Any]:
    return {"k at 0 C": 1 / 0}


@pytest.mark.parametrize(
    ("computed", "told"),
    [
        (
            lambda: {"k at 0 C": 54.3, "k at 25 C": 59.1593, "k at 50 C": 64.1199},
            "54.3, not 54.1988",
        ),
        (refuse, "could not be computed (not on this computer), not 54.1988"),
        (divide, "could not be computed (ZeroDivisionError: division by zero), not 54.1988"),
        (lambda: {}, "not computed, not 54.1988"),
        (lambda: {"k at 0 C": None}, "None, not 54.1988"),
    ],
)
def test_a_value_that_fails_is_named_and_the_others_are_run(computed: Any, told: str) -> None:
    run = prove(NOW, "L1", {**COMPUTED, "A01": computed})
    assert run.failed[0].told == f"A01 k at 0 C: {told}"
    assert {value.id for value in run.failed} == {"A01"}
    assert len(run.values) == len(published())


def test_the_file_is_readable_and_says_what_computed() -> None:
    run = prove(NOW, "L1")
    plain = json.loads(run.to_bytes())
    assert plain["device"] == "L1"
    assert plain["published"] == proofs.published_digest()
    assert plain["computer"]["libraries"].keys() == {"numpy", "scipy", "pint", "pydantic"}
    assert plain["values"][0]["printed"] == "54.1988"
    assert run.to_bytes() == prove(NOW, "L1").to_bytes()


# ---------------------------------------------------------------- kept


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return plant_in(tmp_path_factory.mktemp("prove") / "plant").folder


@pytest.fixture
def plant(made: Path, tmp_path: Path) -> Plant:
    return open_plant(Path(shutil.copytree(made, tmp_path / "plant")))


def test_a_proof_is_a_file_and_an_event_of_the_book(plant: Plant) -> None:
    first, second = (acts.keep_proof(plant, NOW) for _ in range(2))
    assert first.path.parent == plant.folder / "proofs"
    assert first.path != second.path  # two in one second
    assert digest(first.path.read_bytes()) == first.digest
    book = book_of(plant)
    found = newest_proof(book)
    assert found is not None
    assert (found.file, found.digest) == (second.path.name, second.digest)
    assert (found.values, found.failed) == (len(published()), ())
    assert not any(f.severity == "damaged" for f in audit.examine_book(plant, None, ()))


def test_only_a_proof_of_this_device_by_this_software_is_cited(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert acts.keep_proof(plant, NOW).run.failed == ()
    assert newest_proof(book_of(plant)) is not None
    assert newest_proof(book_of(replace(plant, device="L2"))) is None
    other = replace(computer_here(), libraries={"numpy": "1.0"})
    monkeypatch.setattr("wqverify.acts.proof.computer_here", lambda: other)
    assert newest_proof(book_of(plant)) is None


def test_a_newer_proof_that_failed_is_the_one_cited(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    acts.keep_proof(plant, NOW)
    monkeypatch.setitem(COMPUTED, "A01", refuse)  # type: ignore[arg-type]
    acts.keep_proof(plant, NOW)
    found = newest_proof(book_of(plant))
    assert found is not None
    assert len(found.failed) == 3
    assert found.failed[0].startswith("A01 k at 0 C: could not be computed")


def test_a_proof_that_was_changed_is_damaged_and_a_lost_one_is_still_in_the_book(plant: Plant) -> None:
    kept = acts.keep_proof(plant, NOW)
    kept.path.write_bytes(kept.path.read_bytes().replace(b"54.1988", b"54.1989"))
    damaged = [f.text for f in audit.examine_book(plant, None, ()) if f.severity == "damaged"]
    assert damaged == [f"proofs/{kept.path.name} is not the one entered into the book."]
    kept.path.unlink()
    told = [(f.severity, f.text) for f in audit.examine_book(plant, None, ())]
    assert ("note", f"proofs/{kept.path.name} is not in this folder; the book keeps what it said.") in told
    assert not any(severity == "damaged" for severity, _text in told)


# ---------------------------------------------------------------- cited


def words(plant: Plant, proof: Proof | None) -> str:
    record = record_in(plant, "pass")
    record = replace(record, software=replace(record.software, proof=proof))
    return " ".join(text(blocks(record)).split())


def test_a_record_without_a_proof_says_nothing_of_one(plant: Plant) -> None:
    assert "Values of others" not in words(plant, None)
    assert "proofs/" not in words(plant, None)


def test_a_record_says_which_proof_it_rests_on(plant: Plant) -> None:
    said = words(plant, PROOF)
    assert "run on this computer with this program on 2026-05-30 08:00 -04:00: all 126 came out" in said
    assert "proof proofs/2026-05-30 080000 L1.json" in said
    assert "Proof failed" not in said


def test_a_record_of_a_computer_that_failed_says_so_on_its_first_sheet(plant: Plant) -> None:
    said = words(plant, FAILED)
    first = said.index("did not all come out: A01 k at 0 C: 54.3, not 54.1988, and 1 more")
    assert first < said.index("Standards")
    assert "124 of 126 came out; NOT A01" in said


def test_the_proof_is_part_of_the_record_and_an_older_record_has_none(plant: Plant) -> None:
    record = record_in(plant, "pass")
    with_proof = replace(record, software=replace(record.software, proof=FAILED))
    assert record_from(record_to_bytes(with_proof)) == with_proof
    older = json.loads(record_to_bytes(record))
    assert older["software"].pop("proof") is None
    assert record_from(json.dumps(older).encode()) == record


@pytest.mark.slow
def test_a_visit_cites_the_newest_proof_and_is_reproduced(plant: Plant) -> None:
    kept = acts.keep_proof(plant, NOW)
    (done,) = acts.perform(plant, [sheet_of(plant, "pass")], NOW)
    proof = done.record.software.proof
    assert proof is not None
    assert (proof.file, proof.digest) == (kept.path.name, kept.digest)
    assert audit.rerun_file(done.page).sentence() == "reproduced (page compared byte for byte)"
