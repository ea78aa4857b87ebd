"""The audit of a month: every record run again, as then and as now, and a sample through its notebooks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from wqverify import audit
from wqverify.audit.again import Job
from wqverify.book import StoredRecord
from wqverify.errors import CorrectTheEntry
from wqverify.plant.folder import open_plant
from wqverify.procedures import PROCEDURES
from wqverify.records.canonical import digest, record_to_bytes
from wqverify.records.record import case_from, compute, draft, number_it, software
from wqverify.records.rerun import Answer, Rerun
from wqverify.records.workbook import demo_case
from wqverify.terms import Analyzer, Previous

SHIPPED = "the demo runs that ship with wqverify"


@dataclass
class MonthAudit:
    """What came out of running the records of a month again."""

    plant: str
    month: str
    synthetic: bool
    shipped: bool = False  # of the demo runs, made a moment ago
    counted: Counter[tuple[str, Answer]] = field(default_factory=Counter)  # by procedure and answer
    others: list[Rerun] = field(default_factory=list)  # not reproduced, or with other sentences
    changed: list[Rerun] = field(default_factory=list)  # that would come out otherwise now
    sample: audit.Sample | None = None
    by_notebook: list[Rerun] = field(default_factory=list)

    @property
    def total(self) -> int:
        return sum(self.counted.values())

    def take(self, procedures: Mapping[str, str], answers: Iterable[Rerun]) -> None:
        """Count the answers by the procedures of their numbers, keep those that are to be looked at."""
        for one in answers:
            self.counted[procedures.get(one.number, "not known"), one.answer] += 1
            if one.answer is not Answer.REPRODUCED or one.sentences:
                self.others.append(one)
            if one.now is not None and (one.now.checks or one.now.reason):
                self.changed.append(one)


def audit_month(folder: str = "", month: str = "", notebooks: int = 0, seed: int | None = None) -> MonthAudit:
    """Run the records of a month of a plant folder again; without a folder the demo runs that ship.

    ``notebooks`` is the size of the sample that is executed, 0 for none; ``seed`` draws an earlier one again.
    Raises CorrectTheEntry for a folder without a month.
    """
    if not folder:
        return _of_the_demo_runs()
    if not month:
        raise CorrectTheEntry("Name the month to audit, such as 2026-03.")
    plant = open_plant(Path(folder))
    found = MonthAudit(plant.site.name, month, plant.site.synthetic)
    procedures = {state.number: state.procedure for state in audit.book_of(plant).records(month)}
    answers = audit.rerun_book(plant, month=month, how=audit.How(register=plant.analyzers))
    found.take(procedures, answers)
    if notebooks and found.total:
        found.sample = audit.draw(plant, notebooks, seed, month=month)
        found.by_notebook = list(audit.through_notebooks(plant, found.sample))
    return found


def _of_the_demo_runs() -> MonthAudit:
    found = MonthAudit(SHIPPED, "", synthetic=True, shipped=True)
    jobs = list(_made_now())
    register: dict[str, Analyzer] = {}
    names = {job.stored.number: name for job, name in zip(jobs, PROCEDURES, strict=True)}
    found.take(names, audit.run_chunk(audit.How(register=register), jobs))
    return found


def _made_now() -> Iterator[Job]:
    for count, name in enumerate(PROCEDURES, 1):
        case = case_from(demo_case(name))
        number = f"DEMO-2026-{count:04d}"
        waiting = draft(case, compute(case))
        at, made_by = datetime(2026, 1, 1, tzinfo=UTC), software("", "")
        record = number_it(waiting, number, Previous("DEMO", 0, "0" * 64), at, made_by, {})
        data = record_to_bytes(record)
        yield Job(StoredRecord(number, digest(data), data), slices=dict(case.slices))
