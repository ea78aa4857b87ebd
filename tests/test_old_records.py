"""Old records stay readable and can be run again: a signed sample of each released format."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from old_records.make_sample import schema
from plant_example import NOW

from wqverify import audit
from wqverify.records.canonical import canonical, digest, plain_from, record_from, record_to_bytes
from wqverify.records.differences import differing
from wqverify.signing.examine import examine

OLD = Path(__file__).parent / "old_records"
SAMPLE = OLD / "record_1.pdf"
CERTIFICATES = OLD / "record_1_certificates"
SCHEMA = json.loads((OLD / "record_1.schema.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def attached() -> dict[str, bytes]:
    return dict(examine(SAMPLE.read_bytes(), CERTIFICATES).attachments)


@pytest.fixture
def plain(attached: dict[str, bytes]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(attached["record.json"])
    return found


def test_the_signatures_of_the_sample_hold_at_the_moment_they_were_made() -> None:
    """The keys end in the sample's future; what counts is that they were in force when it was signed."""
    found = examine(SAMPLE.read_bytes(), CERTIFICATES)
    assert [finding.text for finding in found.findings] == []
    assert found.state == "signed and countersigned"
    assert [(s.role, s.staff_id, s.name) for s in found.signers] == [
        ("Performer", "T-07", "Ines Quarrow"),
        ("Reviewer", "S-02", "Odell Marsh"),
    ]
    assert {datetime.fromisoformat(s.time) for s in found.signers} == {NOW}


def test_the_attachments_are_those_the_record_was_made_with(attached: dict[str, bytes]) -> None:
    record = record_from(attached["record.json"])
    digests = {name: digest(data) for name, data in attached.items() if name != "record.json"}
    assert sorted(digests) == ["chart-1.svg", "chart-2.svg", "executed.ipynb"]
    assert digests == record.attachments


def test_the_record_reads_as_it_was_written(attached: dict[str, bytes], plain: dict[str, Any]) -> None:
    data = attached["record.json"]
    record = record_from(data)
    assert (record.format, record.page, record.number) == (1, 1, "L1-2026-0001")
    assert (record.procedure, record.revision) == ("ph_calibration", 1)
    assert str(record.result.outcome("as_found")) == "fail"
    assert str(record.result.outcome("as_left")) == "pass"
    assert canonical(plain) == data
    written = plain_from(record_to_bytes(record))
    assert list(differing(plain, written)) == []  # what a later version added stands there empty


def test_the_sample_runs_again_from_the_file_alone() -> None:
    """Page as well: with the typst that made it, byte for byte."""
    assert audit.rerun_file(SAMPLE).sentence() == "reproduced (page compared byte for byte)"


def test_the_sample_validates_against_the_schema_of_its_format(plain: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.Draft202012Validator(SCHEMA).validate(plain)


@pytest.mark.parametrize(
    ("how", "said"),
    [
        (lambda plain: plain.pop("number"), "'number' is a required property"),
        (lambda plain: plain.update(nummer="1"), "('nummer' was unexpected)"),
        (lambda plain: plain["result"]["checks"][0].update(outcome="passed"), "'passed' is not one of"),
        (lambda plain: plain["given"]["analyzer"].pop("serial"), "'serial' is a required property"),
    ],
)
def test_the_schema_refuses_what_is_not_a_record(plain: dict[str, Any], how: Any, said: str) -> None:
    how(plain)
    with pytest.raises(jsonschema.ValidationError) as caught:
        jsonschema.Draft202012Validator(SCHEMA).validate(plain)
    assert said in caught.value.message


def test_the_schema_is_still_that_of_what_is_written() -> None:
    """Fails when wqverify.terms changes what stands in a record.json.

    Before the release of the format: make schema and sample again. After it: what was added needs a default,
    so that old records read on; then python tests/old_records/make_sample.py --schema.
    """
    assert schema() == SCHEMA
