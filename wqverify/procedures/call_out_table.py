"""The whole fault table: which rows concern an analyzer, which measurement tells most next, what is found."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

from wqverify.errors import CorrectTheEntry
from wqverify.procedures import (
    call_out_chlorine,
    call_out_conductivity,
    call_out_loop,
    call_out_ph,
    call_out_physical,
    call_out_turbidity,
)
from wqverify.procedures.call_out_case import (
    CHAIN,
    OHM,
    ROOT_HERE,
    ROOT_THERE,
    WORDS,
    Case,
    Finding,
    Measure,
    Row,
)
from wqverify.procedures.call_out_chain import Hop, halves, hops, region

# Where the symptom itself says where to look, before the signal is split in halves.
LOOP_FIRST = frozenset({"no signal", "at the top"})
OWN_FIRST = frozenset({"noisy", "stands still", "late", "calibration refused"})
OFFERED = 6  # measurements that are offered at once
_OF: tuple[tuple[tuple[str, ...], tuple[Row, ...]], ...] = (
    (("ph",), call_out_ph.ROWS),
    (("turbidity",), call_out_turbidity.ROWS),
    (("chlorine",), call_out_chlorine.ROWS),
    (("conductivity", "conductance"), call_out_conductivity.ROWS),
    (("temperature",), call_out_conductivity.ELEMENT),
    (("level",), call_out_physical.LEVELS),
    (("flow",), call_out_physical.FLOWS),
)
EVERY: tuple[Row, ...] = tuple(
    chain(*(rows for _words, rows in _OF), call_out_turbidity.SAMPLE, call_out_loop.ROWS)
)
MEASURES = {
    one.what: one
    for one in (*CHAIN, OHM, ROOT_HERE, ROOT_THERE, *(need for row in EVERY for need in row.needs))
}


def rows_of(case: Case) -> Iterator[Row]:
    """Give the rows of an analyzer, those of what it measures first; where the loop is meant, the loop's."""
    own = [row for words, rows in _OF if case.is_of(*words) for row in rows] + list(call_out_turbidity.SAMPLE)
    both = (call_out_loop.ROWS, own) if case.symptom in LOOP_FIRST else (own, call_out_loop.ROWS)
    yield from chain(*both)


def next_ones(case: Case) -> list[tuple[Measure, str]]:
    """Return what to measure next and what it splits, the most telling first.

    Where two places of the signal do not agree, only what lies between them is looked at: the place in the
    middle first, then the rows of the fault table for that part. Where the symptom itself points somewhere,
    the rows come first.
    """
    judged = hops(case, "as_found")
    wrong = next((hop for hop in judged if hop.fails), None)
    concerned = [
        row for row in rows_of(case) if row.concerns(case) and (wrong is None or _lies_in(row, wrong))
    ]
    of_rows = [
        (need, row.splits)
        for row in concerned
        for need in [next((one for one in row.needs if not case.knows(one)), None)]
        if need is not None
    ]
    ends = region(case, judged)
    of_chain = [(one, _halved(ends)) for one in halves(case, ends)] if ends is not None else []
    first = case.symptom in LOOP_FIRST | OWN_FIRST and (wrong is None or not of_chain)
    ordered = (*of_rows, *of_chain) if first else (*of_chain, *of_rows)
    once: dict[str, tuple[Measure, str]] = {}
    for measure, why in ordered:
        once.setdefault(measure.what, (measure, why))
    return list(once.values())[:OFFERED]


def _halved(ends: tuple[Measure, Measure]) -> str:
    return f"halves what lies between {WORDS[ends[0].what]} and {WORDS[ends[1].what]}"


def _lies_in(row: Row, hop: Hop) -> bool:
    """Whether a row looks at a part of the signal that the two places enclose."""
    first, last = (CHAIN.index(one) for one in (hop.before, hop.after))
    spans = [(CHAIN.index(begins), CHAIN.index(ends)) for begins, ends in row.spans]
    return any(begins < last and ends > first for begins, ends in spans)


def findings(case: Case) -> list[tuple[Row, Finding]]:
    """Return what the rows say whose measurements are all there, whatever the symptom."""
    found = []
    for row in rows_of(case):
        if case.knows(*row.needs) and row.wanted(case):
            finding = _found(row, case)
            if finding is not None:
                found.append((row, finding))
    return found


def _found(row: Row, case: Case) -> Finding | None:
    """What a row says; of readings with which nothing can be computed, why not."""
    try:
        return row.find(case)
    except CorrectTheEntry as problem:
        return Finding(f"Not computed: {problem.message}")


def first_wrong(judged: Sequence[Hop]) -> Hop | None:
    return next((hop for hop in judged if hop.fails), None)
