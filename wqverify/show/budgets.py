"""Uncertainty budgets: a table per stage, causes against results; each size once, with its origin."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from wqverify.show import headings
from wqverify.show.kinds import Block, Column, Heading, Statement, Table, rows
from wqverify.show.lookup import NONE, freedom, plain, significant, stage_name, with_unit
from wqverify.terms import BudgetLine, Quantity, Record

ASSUMED = ("memory", "common practice")
_Size = tuple[float, str, float | None, str, str]  # u, distribution, dof, where it comes from, source
_ABREAST = 7  # results of one stage side by side


@dataclass(frozen=True)
class _Budgeted:
    """One result with a budget, under the stage it belongs to."""

    stage: str
    label: str
    quantity: Quantity


def budgets(record: Record) -> Iterator[Block]:
    """Give every uncertainty budget: causes against results, then the sizes of the causes."""
    found = list(_budgeted(record))
    if not found:
        return
    sizes = dict.fromkeys(_size(line) for one in found for line in one.quantity.budget)
    number = {size: str(n) for n, size in enumerate(sizes, 1)}
    yield Heading(headings.BUDGETS)
    yield Statement(
        "For each result: what a cause contributes to its standard uncertainty, in the unit of the result, "
        "and in brackets the sensitivity. The number beside a cause is its size in the table below. A cause "
        "that stands in several columns is one cause: these results share its error."
    )
    for stage in dict.fromkeys(one.stage for one in found):
        together = [one for one in found if one.stage == stage]
        for first in range(0, len(together), _ABREAST):
            yield _contributions(stage, together[first : first + _ABREAST], number)
    yield _sizes_table(number)


def _budgeted(record: Record) -> Iterator[_Budgeted]:
    """Give every result with a budget once, the judged ones first."""
    seen: set[tuple[BudgetLine, ...]] = set()
    named = [(c.stage, c.label, c.quantity) for c in record.result.checks]
    named += [(v.stage, v.label, v.quantity) for v in record.result.values]
    for stage, label, quantity in named:
        if quantity is not None and quantity.budget and quantity.budget not in seen:
            seen.add(quantity.budget)
            yield _Budgeted(stage, label, quantity)


def _size(line: BudgetLine) -> _Size:
    return (line.u, line.distribution, line.dof, line.size_from, line.source)


def _contributions(stage: str, results: Sequence[_Budgeted], number: Mapping[_Size, str]) -> Table:
    """Return the causes of some results line by line, with what they contribute to each."""
    columns = [Column("Size", "short"), Column("Cause, and its value where it has one")]
    columns += [Column(with_unit(f"{one.label},", one.quantity.unit)) for one in results]
    lines: dict[tuple[str, float, _Size], list[str]] = {}
    for place, one in enumerate(results):
        for b in one.quantity.budget:
            cells = lines.setdefault((b.cause, b.value, _size(b)), [""] * len(results))
            cells[place] = f"{plain(b.contribution, 2)} ({plain(b.sensitivity, 2)})"
    body = [
        (number[size], f"{cause} = {significant(x)}" if x else cause, *cells)
        for (cause, x, size), cells in lines.items()
    ]
    quantities = [one.quantity for one in results]
    body.append(("", "u together", *(plain(q.u) for q in quantities)))
    body.append(("", "degrees of freedom", *(freedom(q.dof) for q in quantities)))
    body.append(("", "k", *(f"{q.k:.2f}" if q.k is not None else NONE for q in quantities)))
    body.append(("", "U", *(q.expanded or NONE for q in quantities)))
    return Table(tuple(columns), rows(*body), stage_name(stage), dense=True, half=len(results) <= 2)


def _sizes_table(number: Mapping[_Size, str]) -> Table:
    columns = (
        Column("Size", "short"),
        Column("u", "number"),
        Column("Distribution", "short"),
        Column("dof", "short"),
        Column("Where the size comes from"),
    )
    lines = []
    for (u, distribution, dof, size_from, source), n in number.items():
        origin = f"assumed, {size_from}" if size_from in ASSUMED else size_from
        where = f"{origin}: {source}" if source else origin
        lines.append((n, plain(u), distribution, freedom(dof), where))
    return Table(columns, rows(*lines), "Sizes, as standard uncertainties; assumed ones say so", dense=True)
