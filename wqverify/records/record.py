"""From a case to a record: compute, insist that every declared check is there, bind it together."""

from __future__ import annotations

import platform
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import wqverify
from wqverify.errors import ChooseAnother, CorrectTheEntry, ResultsDiffer, WqverifyError
from wqverify.procedures import PROCEDURES
from wqverify.procedures.parts import (
    entries,
    named_analyzers,
    named_people,
    named_records,
    named_standards,
    typed_times,
)
from wqverify.procedures.sheets import parse
from wqverify.records.canonical import digest, given_from, to_plain
from wqverify.records.code import code_digest
from wqverify.terms import Given, Previous, Procedure, Proof, Raw, Record, Result, Slices, Software

if TYPE_CHECKING:
    from wqverify.plant.files import Document

FORMAT = 1  # of record.json
PAGE = 1  # edition of the page template
DRAFT = "not yet entered"  # stands for the number until the book gives one


@dataclass(frozen=True)
class Case:
    """A field sheet with everything its computation may see."""

    procedure: Procedure
    sheet: Raw
    given: Given
    slices: Slices = field(default_factory=dict)

    def plain(self) -> dict[str, Any]:
        """Return the case as plain types: what a notebook is handed, and what a record keeps of it."""
        plain = {"procedure": self.procedure.name, "sheet": self.sheet, "given": to_plain(self.given)}
        if self.slices:
            plain["slices"] = {name: data.decode() for name, data in self.slices.items()}
        return plain


def case_from(plain: Mapping[str, Any], procedures: Mapping[str, Procedure] = PROCEDURES) -> Case:
    """Return the case that ``Case.plain`` wrote."""
    slices = {name: text.encode() for name, text in plain.get("slices", {}).items()}
    return Case(procedures[plain["procedure"]], plain["sheet"], given_from(plain["given"]), slices)


def compute(case: Case, document: Document | None = None) -> Result:
    """Compute the result of a case.

    Raises CorrectTheEntry or ChooseAnother where the sheet cannot be taken, and ResultsDiffer where a
    check that the procedure declares is missing from its result, or a key stands in it twice.
    """
    sheet = parse(case.procedure, case.sheet, document)
    _insist_on_slices(case)
    try:
        result = case.procedure.compute(sheet, case.given, case.slices)
    except (CorrectTheEntry, ChooseAnother) as problem:
        raise _placed(problem, document) from None
    keys = [check.key for check in result.checks] + [value.key for value in result.values]
    missing = [key for key in case.procedure.expects(sheet, case.given) if key not in keys]
    if missing or len(set(keys)) != len(keys):
        what = f"lacks the declared check {missing[0]}" if missing else "holds one key twice"
        raise ResultsDiffer(
            f"The result of {case.procedure.name} {what}; nothing was recorded. This is a fault of the "
            f"program, not of the sheet: keep the sheet and report it.",
            found=", ".join(keys),
            expected=", ".join(missing),
        )
    return result


def _insist_on_slices(case: Case) -> None:
    """Raise ResultsDiffer unless the slices are the very ones the case names by digest."""
    found = {name: digest(data) for name, data in case.slices.items()}
    for name in found.keys() | case.given.attached.keys():
        if found.get(name) != case.given.attached.get(name):
            raise ResultsDiffer(
                f"The attached slice {name} is {'missing' if name not in found else 'another one'}; nothing "
                f"is computed without the values the record names.",
                found=found.get(name, ""),
                expected=case.given.attached.get(name, ""),
            )


def insist_on_given(case: Case) -> None:
    """Raise ResultsDiffer unless the case holds every standard, person and table its sheet rests on."""
    sheet, given = case.procedure.Sheet, case.given
    lacking = [name for _path, name in named_standards(sheet, case.sheet) if name not in given.standards]
    lacking += [name for _path, name in named_people(sheet, case.sheet) if name not in given.people]
    others = {given.analyzer.tag, *given.others}
    lacking += [name for _path, name in named_analyzers(sheet, case.sheet) if name not in others]
    lacking += [name for _path, name in named_records(sheet, case.sheet) if name not in given.records]
    used = {(use.name, use.edition) for use in given.tables.values()}
    wanted = [(s.table, s.edition) for s in given.standards.values() if s.table and not s.own]
    lacking += [" ".join(table) for table in (*case.procedure.tables, *wanted) if table not in used]
    times = typed_times(sheet, case.sheet)
    lacking += [f"the time of {path}" for path in times if path not in given.times]
    if lacking:
        raise ResultsDiffer(
            f"The record does not hold what it was computed with: {', '.join(lacking)}.", found=lacking[0]
        )


def _placed(problem: WqverifyError, document: Document | None) -> WqverifyError:
    """The same problem with the file and line it lies in, where both are known."""
    if document is None or not problem.where:
        return problem
    path = tuple(int(step) if step.isdigit() else step for step in problem.where.split("."))
    place = document.where(path)
    return type(problem)(
        f"{place}: {problem.message}", found=problem.found, expected=problem.expected, where=place
    )


def software(notebook: str, notebook_digest: str, proof: Proof | None = None) -> Software:
    """Return what makes records here; ``proof`` is the newest run of published values by this software."""
    python = platform.python_version()
    return Software(
        wqverify.__version__, python, typst_version(), notebook, notebook_digest, proof, code_digest()
    )


def typst_version() -> str:
    """Return the version of the page's compiler: another one writes other bytes."""
    return version("typst")


def visit_id(case: Case) -> str:
    """Return what names the visit itself, whatever is typed about it: analyzer, procedure and start."""
    sheet = case.sheet
    return f"{sheet['tag']} {case.procedure.name} {case.given.times['started']}"


def draft(case: Case, result: Result) -> Record:
    """Return the record of a case before the book has given it a number."""
    procedure, given, sheet = case.procedure, case.given, case.sheet
    typed = tuple(
        replace(entry, resolved=given.times.get(entry.path, entry.resolved))
        for entry in entries(procedure.Sheet, sheet, given.analyzer.unit)
    )
    return Record(
        format=FORMAT,
        page=PAGE,
        number=DRAFT,
        visit_id=visit_id(case),
        procedure=procedure.name,
        title=procedure.title,
        revision=procedure.revision,
        performed=given.times["started"],
        entered="",
        performed_by=sheet["performed_by"],
        sheet=sheet,
        entries=typed,
        cautions=procedure.cautions,
        given=given,
        result=result,
        software=Software(wqverify.__version__, platform.python_version(), "", "", ""),
        previous=Previous("", 0, ""),
        replaces=sheet.get("replaces", ""),
        replaces_why=sheet.get("replaces_why", ""),
    )


def number_it(
    record: Record,
    number: str,
    previous: Previous,
    entered: datetime,
    made_by: Software,
    attachments: Mapping[str, str],
) -> Record:
    """Return the draft as it goes into the book."""
    return replace(
        record,
        number=number,
        previous=previous,
        entered=entered.isoformat(timespec="seconds"),
        software=made_by,
        attachments=dict(attachments),
    )
