"""The audit of a month as blocks: counts, what was not reproduced, then and now side by side."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from wqverify.lists.audit_month import MonthAudit
from wqverify.procedures import PROCEDURES
from wqverify.records.rerun import Answer
from wqverify.show.blocks import Block, Column, Row, Statement, Table, Title

COUNTS: Final = "How many came out as recorded"
OTHERS: Final = "What was not reproduced"
THEN_AND_NOW: Final = "As then and as now"
SAMPLE: Final = "A sample through the notebooks"
LIMITS: Final = "What this shows, and what it does not"
HEADINGS: Final = (COUNTS, OTHERS, THEN_AND_NOW, SAMPLE, LIMITS)

_UNSIGNED = (
    "A list for whoever asks to see the month again, not a record: nobody signs it, and nothing of it is in "
    "the record book."
)
_SHIPPED = (
    "No plant folder was named: these are records made a moment ago from the demo runs that ship. They show "
    "what an audit looks like and prove nothing."
)


def title(found: MonthAudit) -> list[Block]:
    """Return what was audited, that it is unsigned, and whether the data are synthetic."""
    text = f"{found.plant}, {found.month}" if found.month else found.plant[0].upper() + found.plant[1:]
    made: list[Block] = [Title(text, "Audit: every record run again"), Statement(_UNSIGNED, "Unsigned")]
    if found.synthetic:
        made.append(Statement("Synthetic data: an invented plant.", "Synthetic"))
    return [*made, Statement(_SHIPPED)] if found.shipped else made


def section(found: MonthAudit, heading: str) -> list[Block]:
    """Return the blocks that stand under one of ``HEADINGS``; a section without content says so."""
    return list(_SECTIONS[heading](found)) or [Statement("None.")]


def _counts(found: MonthAudit) -> Iterator[Block]:
    if not found.total:
        yield Statement("No work was done in this month, or none was entered.")
        return
    columns = (Column("Procedure"), *(Column(str(answer), "number") for answer in Answer))
    names = [name for name in PROCEDURES if any(found.counted[name, answer] for answer in Answer)]
    names += sorted({name for name, _answer in found.counted} - set(PROCEDURES))
    rows = [Row((_title(name), *(str(found.counted[name, answer]) for answer in Answer))) for name in names]
    totals = [sum(n for (_name, one), n in found.counted.items() if one is answer) for answer in Answer]
    yield Table(columns, (*rows, Row((f"All {found.total}", *map(str, totals)))))


def _title(name: str) -> str:
    return PROCEDURES[name].title if name in PROCEDURES else name


def _others(found: MonthAudit) -> Iterator[Block]:
    if found.others:
        rows = tuple(Row((one.number, one.sentence())) for one in found.others)
        yield Table((Column("Record", "short"), Column("Answer")), rows)


def _then_and_now(found: MonthAudit) -> Iterator[Block]:
    if not found.changed:
        yield Statement("Every record would come out today as it did.")
        return
    rows: list[Row] = []
    for one in found.changed:
        if one.now is None:
            continue
        rows.append(Row((one.number,), "group"))
        rows += [Row((f"Of today: {text}",), "note") for text in one.now.taken]
        rows += [Row((f"As now: {one.now.reason}",), "note")] if one.now.reason else []
        rows += [
            Row((check.label, check.then, check.now, "yes" if check.otherwise else "no"))
            for check in one.now.checks
        ]
    heads = (Column("Check"), Column("Then"), Column("Now"), Column("Decided otherwise", "short"))
    yield Table(heads, tuple(rows), dense=True)


def _sample(found: MonthAudit) -> Iterator[Block]:
    if found.sample is None:
        yield Statement("No sample was asked for.")
        return
    drawn = f"{len(found.sample.numbers)} of {found.sample.of} records, drawn by seed {found.sample.seed}."
    yield Statement(drawn, "Sample")
    rows = tuple(Row((one.number, one.sentence())) for one in found.by_notebook)
    yield Table((Column("Record", "short"), Column("By its notebook")), rows)


def _limits(_found: MonthAudit) -> Iterator[Block]:
    yield Statement(
        "Reproduced means: the same readings and the same given data give the same result, digit by digit. "
        "It does not say that the readings were right."
    )
    yield Statement(
        "As now takes today's formulas, the newest edition of every published table and today's tolerances "
        "of the tag. Readings, standards and their certificates, ranges, settings and earlier records stay "
        "as they were; tolerances are not taken where the tag is gone or measures something else."
    )
    yield Statement(
        "Records are read from the book here. That the book, the pages and the signatures are unchanged is "
        "examined by `wqverify book examine` and `wqverify examine`."
    )


_SECTIONS = {
    COUNTS: _counts,
    OTHERS: _others,
    THEN_AND_NOW: _then_and_now,
    SAMPLE: _sample,
    LIMITS: _limits,
}
