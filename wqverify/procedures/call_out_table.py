"""The whole fault table: which rows concern an analyzer, which measurement tells most next, what is found."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

from wqverify.errors import CorrectTheEntry
from wqverify.procedures import (
    call_out_chlorine,
    call_out_conductivity,
    call_out_ends,
    call_out_flow,
    call_out_level,
    call_out_loop,
    call_out_ph,
    call_out_sample,
    call_out_turbidity,
)
from wqverify.procedures.call_out_case import (
    ARCHIVE,
    CHAIN,
    DISPLAY,
    OHM,
    REFERENCE,
    ROOT_HERE,
    ROOT_THERE,
    SHOWN,
    WORDS,
    Case,
    Finding,
    Measure,
    Row,
)
from wqverify.procedures.call_out_chain import ends, halves, hops, region
from wqverify.procedures.call_out_compare import Hop
from wqverify.terms import Analyzer, Given, Site

# Where the symptom itself says where to look, before the signal is split in halves.
LOOP_FIRST = frozenset({"no signal", "at the top"})
OWN_FIRST = frozenset({"noisy", "stands still", "late", "calibration refused"})
OFFERED = 6  # measurements that are offered at once
_OF: tuple[tuple[tuple[str, ...], tuple[Row, ...]], ...] = (
    (("ph",), (*call_out_ph.ROWS, *call_out_conductivity.ELEMENT)),
    (("turbidity",), call_out_turbidity.ROWS),
    (("chlorine",), call_out_chlorine.ROWS),
    (("conductivity", "conductance"), call_out_conductivity.ROWS),
    (("temperature",), call_out_conductivity.ELEMENT),
    (("level",), call_out_level.ROWS),
    (("flow",), call_out_flow.ROWS),
)
_LOOP = (*call_out_loop.ROWS, *call_out_ends.ROWS)
_ANY = (call_out_sample.LOOK, call_out_sample.THEN, call_out_sample.LAST, _LOOP)
EVERY: tuple[Row, ...] = tuple(chain(*(rows for _words, rows in _OF), *_ANY))
MEASURES = {
    one.what: one
    for one in (*CHAIN, OHM, ROOT_HERE, ROOT_THERE, *(need for row in EVERY for need in row.needs))
}


def rows_of(case: Case) -> Iterator[Row]:
    """Give the rows of an analyzer, those of what it measures first; where the loop is meant, the loop's."""
    special = [row for words, rows in _OF if case.is_of(*words) for row in rows]
    own = [*call_out_sample.LOOK, *call_out_sample.THEN, *special, *call_out_sample.LAST]
    both = (_LOOP, own) if case.symptom in LOOP_FIRST else (own, _LOOP)
    yield from chain(*both)


def names_for(analyzer: Analyzer) -> tuple[str, ...]:
    """Return what may be measured at a call-out for an analyzer, by the names under which it is typed."""
    case = Case(Given(1, Site("", "UTC", 0), analyzer), "")
    roots = (ROOT_HERE, ROOT_THERE) if case.may_be_rooted else ()
    needs = (need for row in rows_of(case) for need in row.needs)
    return tuple(dict.fromkeys(one.what for one in (*CHAIN, OHM, *roots, *needs)))


def next_ones(case: Case) -> list[tuple[Measure, str]]:
    """Return what to measure next and what it splits, the most telling first.

    Where two places of the signal do not agree, only what lies between them is looked at: the places between
    first, then the rows of the fault table for that part. Where the symptom itself points somewhere, the rows
    come first; and at a sample one looks whether it flows before anything is measured against the water.
    """
    if case.says(call_out_sample.FLOWS) is False:
        return []  # old water tells nothing: flow first, then both ends again
    judged = hops(case, "as_found")
    wrong = first_wrong(judged, ends(case, "as_found"))
    rows = (row for row in rows_of(case) if row.concerns(case))
    of_rows = [
        (need, row.splits)
        for row in rows
        if wrong is None or _lies_in(row, wrong)
        for need in [next((one for one in row.needs if not case.knows(one)), None)]
        if need is not None
    ]
    between = region(case, judged)
    of_chain = [(one, _halved(between)) for one in halves(case, between)] if between is not None else []
    by_symptom = case.symptom in LOOP_FIRST | OWN_FIRST and (wrong is None or not of_chain)
    ordered = [*of_rows, *of_chain] if by_symptom else [*of_chain, *of_rows]
    once: dict[str, tuple[Measure, str]] = {}
    for measure, why in [*_before_all(case, wrong, ordered), *ordered, *_after_all(case, wrong)]:
        once.setdefault(measure.what, (measure, why))
    return list(once.values())[:OFFERED]


def _before_all(
    case: Case, wrong: Hop | None, ordered: Sequence[tuple[Measure, str]]
) -> Iterator[tuple[Measure, str]]:
    """Give what decides how the rest is read: where a root is taken, whether sample flows."""
    if wrong is not None and wrong.before is not REFERENCE and case.may_be_rooted:
        for root in (ROOT_HERE, ROOT_THERE):
            if not case.knows(root):
                yield root, "it decides what a current stands for"
    if case.knows(DISPLAY) and (wrong is None or wrong.before is REFERENCE):
        yield from ((one, why) for one, why in ordered if one is call_out_sample.FLOWS)


def _after_all(case: Case, wrong: Hop | None) -> Iterator[tuple[Measure, str]]:
    """Give what is looked at last: whether what is kept is what is shown."""
    if wrong is None and case.knows(SHOWN) and not case.knows(ARCHIVE):
        yield ARCHIVE, "what is kept against what is shown"


def _halved(between: tuple[Measure, Measure]) -> str:
    return f"halves what lies between {WORDS[between[0].what]} and {WORDS[between[1].what]}"


def _lies_in(row: Row, hop: Hop) -> bool:
    """Whether a row looks at a part of the signal that the two places enclose."""
    first, last = (CHAIN.index(one) for one in (hop.before, hop.after))
    spans = [(CHAIN.index(begins), CHAIN.index(stops)) for begins, stops in row.spans]
    return any(begins < last and stops > first for begins, stops in spans)


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


def first_wrong(judged: Sequence[Hop], both_ends: Hop | None) -> Hop | None:
    """Return the first two places that do not agree; the two ends where every place agrees with the next."""
    found = next((hop for hop in judged if hop.fails), None)
    return found or (both_ends if both_ends is not None and both_ends.fails else None)
