"""Make the signed and countersigned sample record of the format that records have now, and its schema.

Run once per format, before its release: python tests/old_records/make_sample.py [--schema]
A sample of a released format is never made again: with --schema only the schema is written.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from pathlib import Path
from secrets import token_bytes
from typing import Any

from pydantic import ConfigDict, TypeAdapter

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from plant_example import NOW, plant_in, sheet_of

from wqverify import acts
from wqverify.records.record import FORMAT
from wqverify.terms import Record

HERE = Path(__file__).resolve().parent
PUBLIC = ("authority.pem", "T-07.pem", "S-02.pem", "withdrawn.crl")


def schema() -> dict[str, Any]:
    """Return the JSON schema of a record.json of today's format."""
    adapter = TypeAdapter(tuple[Record], config=ConfigDict(extra="forbid", allow_inf_nan=False))
    said = adapter.json_schema()
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"record.json, format {FORMAT}",
        "$ref": "#/$defs/Record",
        "$defs": said["$defs"],
    }


def write_schema() -> None:
    text = json.dumps(schema(), indent=1, sort_keys=True, ensure_ascii=False) + "\n"
    (HERE / f"record_{FORMAT}.schema.json").write_text(text, "utf-8")


def write_sample() -> None:
    """Perform a visit of the demo plant, sign and countersign it with keys that are thrown away."""
    certificates = HERE / f"record_{FORMAT}_certificates"
    with tempfile.TemporaryDirectory() as folder:
        store, secret = Path(folder) / "keys", token_bytes(24).hex().encode()
        plant = plant_in(Path(folder) / "plant")
        acts.make_authority(plant, store, secret, NOW)
        for staff in ("T-07", "S-02"):
            acts.issue_key(plant, store, staff, secret, secret, NOW)
        (done,) = acts.perform(plant, [sheet_of(plant, "fail")], NOW)
        acts.sign(plant, [done.number], "T-07", store, secret, NOW)
        acts.review(plant, [done.number], "S-02", store, secret, NOW)
        shutil.copy(done.page, HERE / f"record_{FORMAT}.pdf")
        certificates.mkdir(exist_ok=True)
        for name in PUBLIC:
            shutil.copy(plant.folder / "certificates" / name, certificates / name)


if __name__ == "__main__":
    write_schema()
    if "--schema" not in sys.argv:
        write_sample()
