"""What the book says of a record, its record.json and its PDF, compared while a pack is made of them."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from wqverify.book import RecordState
from wqverify.pack.month import Walked
from wqverify.pack.script.chain import SAID, Chain
from wqverify.pack.script.pdfs import check_signatures, previous_agrees, record_in
from wqverify.pack.script.record_tables import compare_with_chain
from wqverify.pack.script.said import NOT_JSON, Report


def compared(state: RecordState, plain: Mapping[str, Any] | None, pdf: bytes, walked: Walked) -> list[str]:
    """Return what does not agree, in sentences; those that the script in the pack says of it too.

    ``pdf`` is empty where there is none, which is told elsewhere, as is a record whose bytes were altered.
    """
    report = Report()
    known = {**_said(state.body), "outcomes": state.body.get("outcomes")}
    known["events"] = [_said(entry.body) for entry in state.events]
    if plain is not None:
        with suppress(*NOT_JSON):  # a record that cannot be read is told where its rows are left out
            compare_with_chain(state.number, known, plain, report)
    if pdf:
        _of_pdf(state, known, pdf, walked.chains, report)
    return report.bad


def _said(body: Mapping[str, Any]) -> dict[str, Any]:
    return {word: body.get(word) or "" for word in SAID}


def _of_pdf(
    state: RecordState, known: Mapping[str, Any], pdf: bytes, chains: dict[str, Chain], report: Report
) -> None:
    check_signatures(state.number, {**known, "data": pdf}, f"{state.number}.pdf", report)
    record = record_in(pdf, state.digest)
    if record is None:
        report.bad.append(f"{state.number}: the record.json in its PDF is not the one in the book.")
    else:
        previous_agrees(state.number, record, chains, report)
