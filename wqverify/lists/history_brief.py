"""The history of a tag on half a page: as found and as left, last good check, passes, drift, advice."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import takewhile

from wqverify.lists.history import Figures, History, Instrument, found_in_tolerance
from wqverify.lists.history_advice import LEVEL
from wqverify.lists.history_figures import drifts, half_width, label_of, limits_of, rate_text
from wqverify.lists.history_series import AS_FOUND, AS_LEFT, Kept, Point
from wqverify.lists.history_shown import headline
from wqverify.lists.plan import title_of
from wqverify.show.blocks import Block, Column, Facts, Row, Statement, Table, Title
from wqverify.show.printable import minus
from wqverify.terms import Outcome

MOST = 3  # keys of one procedure
MORE = "--all shows every key, value, chart, risk and method of the advice; --charts draws the charts."


def brief(history: History) -> list[Block]:
    """Return the newest of a tag: the instrument that is there now, those before it in a line each."""
    *before, now = history.instruments
    synthetic = "; synthetic data" if history.synthetic else ""
    made: list[Block] = [
        Title(f"History of {history.tag}", f"{history.measures}, from the {history.source}"),
        Statement(f"Nobody signs it and nothing here is judged{synthetic}.", "Unsigned"),
        Statement(
            "; ".join([_records(now), *(f"before it {_records(one)}" for one in reversed(before))]) + "."
        ),
    ]
    for procedure in _judging(now):
        made += _of_procedure(now, procedure)
    if others := _others(now):
        made.append(Statement(f"Other work on it, newest: {others}."))
    return [*made, Statement(MORE)]


def _records(one: Instrument) -> str:
    first, last = one.records[0].performed[:10], one.records[-1].performed[:10]
    times = f"adjusted {len(one.adjusted)} times" if len(one.adjusted) > 1 else "adjusted once"
    newest = f", last on {one.adjusted[-1].performed[:10]}" if len(one.adjusted) > 1 else ""
    adjusted = f"{times}{newest}" if one.adjusted else "never adjusted"
    n = len(one.records)
    return f"{one.serial} has {n} record{'s' if n > 1 else ''} from {first} to {last}, {adjusted}"


def _judging(one: Instrument) -> list[str]:
    """The procedures that judged it as found or as left, the one with the newest verdict first.

    What judges a duty or a preparation says nothing about the instrument.
    """
    judged = [kept for kept in reversed(one.records) if any(map(_of_it, kept.outcomes))]
    return list(dict.fromkeys(kept.procedure for kept in judged))


def _of_it(stage: str) -> bool:
    return stage.startswith((AS_FOUND, AS_LEFT))


def _others(one: Instrument) -> str:
    judging = _judging(one)
    others = [kept for kept in one.records if kept.procedure not in judging]
    newest = {kept.procedure: kept for kept in others}
    return "; ".join(
        f"{title_of(name)}, {kept.number} of {kept.performed[:10]}" for name, kept in newest.items()
    )


# ---------------------------------------------------------------- one procedure


def _of_procedure(one: Instrument, procedure: str) -> Iterator[Block]:
    rows = [kept for kept in one.records if kept.procedure == procedure]
    figures = _counting(one, procedure)
    newest = rows[-1]
    title = f"{title_of(procedure)}, newest {newest.number} of {newest.performed[:10]}"
    if figures:
        yield _found_and_left(figures, title, newest)
    advice = one.advice.get(procedure)
    facts = [
        ("last good check", _last_good(rows)),
        ("passes in a row", _passes(rows)),
        ("drift per day", _drift(figures)),
        (
            "interval",
            f"{advice.current:g} d, {headline(advice)}" if advice else "no advice: one check at most",
        ),
    ]
    yield Facts(tuple(facts), title="" if figures else title)


def _counting(one: Instrument, procedure: str) -> list[Figures]:
    """The keys that count, as found; all judged ones where none of them counts."""
    judged = [
        f
        for f in one.figures
        if f.series.procedure == procedure and f.series.judged and f.series.stage == AS_FOUND
    ]
    return [f for f in judged if f.series.counts] or judged


def _found_and_left(figures: Sequence[Figures], title: str, newest: Kept) -> Table:
    columns = (
        Column("what"),
        Column("found", "number"),
        Column("left", "number"),
        Column("U", "number"),
        Column("tolerance", "short"),
        Column("outcome", "outcome"),
    )
    named = zip(figures[:MOST], _labels(figures), strict=False)
    rows = [Row(_newest(one, newest, label)) for one, label in named]
    if len(figures) > MOST:
        more = len(figures) - MOST
        rows.append(Row((f"{more} more {'keys are' if more > 1 else 'key is'} not listed here.",), "note"))
    return Table(columns, tuple(rows), title=title, dense=True)


def _newest(one: Figures, newest: Kept, label: str) -> tuple[str, ...]:
    point = one.series.points[-1]
    unit = f", {one.series.unit}" if one.series.unit else ""
    day = "" if point.number == newest.number else f" ({point.performed[:10]})"
    found = minus(point.text) if point.value is not None else ""
    return f"{label}{unit}{day}", found, _left(point), point.expanded, limits_of(point), point.outcome


def _left(point: Point) -> str:
    """What a key was left at, with the digits of what was found."""
    if point.left is None:
        return ""
    digits = -int(Decimal(point.text).as_tuple().exponent)
    return minus(f"{point.left:.{max(digits, 0)}f}")


def _labels(figures: Sequence[Figures]) -> list[str]:
    """What keys are called, without what stands behind a comma where that still tells them apart.

    A level, a lot or a reference instrument stands there; ``--all`` shows it.
    """
    whole = [label_of(one) for one in figures]
    short = [label.split(", ")[0] for label in whole]
    return [one if short.count(one) == 1 else told for one, told in zip(short, whole, strict=True)]


def _last_good(rows: Sequence[Kept]) -> str:
    for one in reversed(rows):
        if stage := good_as(one.outcomes):
            return f"{one.performed[:10]}, {one.number}, in tolerance {stage.replace('_', ' ')}"
    return "none in the book"


def good_as(outcomes: Mapping[str, str]) -> str:
    """Return the stage at which a check last had the instrument in tolerance at every place; "" for none.

    As left where that was judged, else as found.

    >>> good_as({"as_found at the analyzer": "fail", "as_left at the analyzer": "pass"})
    'as_left'
    >>> good_as({"as_found at the analyzer": "pass", "as_found at the control system": "fail"})
    ''
    """
    for stage in (AS_LEFT, AS_FOUND):
        told = [outcome for name, outcome in outcomes.items() if name.startswith(stage)]
        if told:
            return stage if all(outcome == Outcome.PASS for outcome in told) else ""
    return ""


def _passes(rows: Sequence[Kept]) -> str:
    """How many of the newest checks, one after the other, found it in tolerance."""
    run = list(takewhile(lambda one: found_in_tolerance(one.outcomes), reversed(rows)))
    if len(run) == len(rows):
        return f"all {len(rows)} as found" if len(rows) > 1 else "the one there is, as found"
    stopped = rows[-1 - len(run)]
    words = {True: "", False: "was out of tolerance", None: "was not decided"}
    how = words[found_in_tolerance(stopped.outcomes)]
    broken = f"{stopped.number} of {stopped.performed[:10]} {how} as found"
    return f"{len(run)} as found; {broken}" if run else f"none: {broken}"


def _drift(figures: Sequence[Figures]) -> str:
    """The drift that takes most of its tolerance in a day, with its interval of confidence."""
    known = [
        (one.drift, one, label)
        for one, label in zip(figures, _labels(figures), strict=True)
        if one.drift is not None
    ]
    if not known:
        return "not known: too few checks on different days"
    drift, one, label = max(known, key=lambda row: abs(row[0].coefficients[0]) / _room(row[1]))
    value, half = rate_text(drift.coefficients[0]), rate_text(half_width(drift))
    unit = f" {one.series.unit}" if one.series.unit else ""
    word = "" if drifts(drift) else ", which may be none"
    return f"{value} ± {half}{unit} ({LEVEL:.0%}, {len(one.changes)} checks){word}: {label}"


def _room(one: Figures) -> float:
    """How wide the newest tolerance is; without one on both sides any drift counts little."""
    newest = next((point for point in reversed(one.series.points) if point.low and point.high), None)
    width = float(newest.high) - float(newest.low) if newest else math.inf
    return width if width > 0 else math.inf
