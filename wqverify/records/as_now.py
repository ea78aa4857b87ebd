"""A record as it would come out today: what was read then, judged by what is known now.

*As then* (``rerun``) takes everything besides the formulas as recorded. *As now* takes from today: the
formulas, the newest edition of every published table, and the tolerances the register of today holds for the
tag. It leaves as recorded: what was typed, the times, the standards with their certificates and assigned
values, the settings and ranges of the analyzer, earlier records, slices of exports. Tolerances of today are
not taken where the tag is gone or measures something else now: then they would be those of another thing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace

from wqverify import tables
from wqverify.errors import WqverifyError
from wqverify.procedures import PROCEDURES
from wqverify.records.record import Case, compute
from wqverify.records.rerun import BROKEN, AsNow, ThenNow, upgraded
from wqverify.terms import Analyzer, Check, Given, Procedure, Record, Result, Slices, Standard, Tolerance

Register = Mapping[str, Analyzer]
Names = tuple[tuple[str, str], ...]  # (name, edition) of published tables
ABSENT = "not there"


def as_now(
    made: Record,
    slices: Slices,
    register: Register,
    *,
    procedures: Mapping[str, Procedure] = PROCEDURES,
    reproduced: bool = False,
) -> AsNow:
    """Return a record as of today, with every check that is not as it was.

    ``reproduced`` says that it came out as recorded: where nothing of today is new to it, it does so again.
    """
    procedure = procedures[made.procedure]
    try:
        given, taken = of_today(made.given, procedure, register)
        if not taken and reproduced:
            return AsNow()
        sheet = upgraded(procedure, dict(made.sheet), made.revision)
        result = compute(Case(procedure, sheet, given, slices))
    except WqverifyError as problem:
        return AsNow(reason=problem.message)
    except BROKEN as problem:
        return AsNow(reason=f"it cannot be computed so ({type(problem).__name__}: {problem})")
    return AsNow(taken, tuple(_side_by_side(made.result, result)))


def of_today(given: Given, procedure: Procedure, register: Register) -> tuple[Given, tuple[str, ...]]:
    """Return what a record was computed with, as of today, and in words what was taken from today."""
    standards = {name: _newest(standard) for name, standard in given.standards.items()}
    taken = [
        f"table {was.table}: edition {was.edition} then, {standards[name].edition} now (standard {name})"
        for name, was in given.standards.items()
        if standards[name] != was
    ]
    wanted = [*procedure.tables, *((s.table, s.edition) for s in standards.values() if s.table and not s.own)]
    uses = {f"{name} {edition}": tables.load(name, edition).use() for name, edition in dict.fromkeys(wanted)}
    taken += [
        f"table {use.name}: {_editions(given, use.name)} then, edition {use.edition} now"
        for name, use in uses.items()
        if name not in given.tables and use.name not in {s.table for s in standards.values()}
    ]
    then, now = given.analyzer, register.get(given.analyzer.tag)
    if now is None or (now.measures, now.unit, now.species) != (then.measures, then.unit, then.species):
        return replace(given, standards=standards, tables=uses), tuple(taken)
    taken += [
        f"tolerance {name}: {_tolerance(then.tolerances.get(name))} then, "
        f"{_tolerance(now.tolerances.get(name))} now"
        for name in dict.fromkeys([*then.tolerances, *now.tolerances])
        if then.tolerances.get(name) != now.tolerances.get(name) and name in procedure.tolerances
    ]
    analyzer = replace(then, tolerances=now.tolerances)
    return replace(given, standards=standards, tables=uses, analyzer=analyzer), tuple(taken)


def _newest(standard: Standard) -> Standard:
    if not standard.table or standard.own:
        return standard
    return replace(standard, edition=newest_edition(standard.table, tables.names()) or standard.edition)


def newest_edition(name: str, known: Names) -> str:
    """Return the last edition of a table, numbers in a name counted as numbers; empty for an unknown table.

    >>> newest_edition("buffers", (("buffers", "trade 10"), ("buffers", "trade 9"), ("slopes", "trade 11")))
    'trade 10'
    """
    return max((edition for one, edition in known if one == name), key=_in_numbers, default="")


def _in_numbers(edition: str) -> list[tuple[int, str]]:
    return [(int(part) if part.isdecimal() else -1, part) for part in re.split(r"([0-9]+)", edition)]


def _editions(given: Given, name: str) -> str:
    then = [use.edition for use in given.tables.values() if use.name == name]
    return f"edition {', '.join(then)}" if then else "none"


def _tolerance(tolerance: Tolerance | None) -> str:
    if tolerance is None:
        return "none"
    bounds = [f"{bound}" for bound in (tolerance.low, tolerance.high) if bound is not None]
    sizes = [" to ".join(bounds) + f" {tolerance.unit}"] if bounds else []
    sizes += [f"{tolerance.percent} %"] if tolerance.percent is not None else []
    joined = " or the wider of it and ".join(sizes) if tolerance.larger_of else " and ".join(sizes)
    return f"{joined}, {tolerance.rule} ({tolerance.source})"


def _side_by_side(then: Result, now: Result) -> Iterator[ThenNow]:
    was, found = ({check.key: check for check in result.checks} for result in (then, now))
    for key in dict.fromkeys([*was, *found]):
        before, after = was.get(key), found.get(key)
        there = before or after
        sides = _words(before), _words(after)
        if there is not None and sides[0] != sides[1]:
            outcomes = [one.outcome if one is not None else None for one in (before, after)]
            label = f"{there.stage.replace('_', ' ')}, {there.label}"
            yield ThenNow(key, label, *sides, outcomes[0] is not outcomes[1])


def _words(check: Check | None) -> str:
    """A check in words: what was judged, by which limits and rule, and what came out."""
    if check is None:
        return ABSENT
    parts = []
    if (quantity := check.quantity) is not None:
        expanded = f" (U {quantity.expanded})" if quantity.expanded else ""
        parts.append(f"{quantity.text}{expanded} {quantity.unit}")
    if check.tolerance is not None:
        limits = [f"from {check.low}"] if check.low else []
        limits += [f"to {check.high}"] if check.high else []
        parts.append(" ".join([*limits, f"({check.tolerance.rule})"]))
    parts.append(f"{check.outcome}{f': {check.reason}' if check.reason else ''}")
    return ", ".join(parts)
