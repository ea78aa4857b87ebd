"""Turbidity of a month: combined effluent and filters by the rules of filtration, as recorded and corrected.

Sheet: ``month_sheet``; limits and what is refused: ``month_rules``; recordings and what is left out of them:
``month_case`` and ``month_records``; what is judged: ``month_judged``; dates that follow: ``month_dates``. It
verifies no analyzer; figures are settings with their source.
"""

from __future__ import annotations

from collections.abc import Iterator

from wqverify.calculations.turbidity_rule import report_due
from wqverify.procedures.month_beside import BESIDE
from wqverify.procedures.month_binds import binds
from wqverify.procedures.month_case import Channel
from wqverify.procedures.month_dates import clocks, follow_ups, overdue, refuse_unknown
from wqverify.procedures.month_judged import (
    NAME,
    NO_FILTER,
    Known,
    Version,
    checks_of,
    expected,
    known_of,
    pairs_fact,
)
from wqverify.procedures.month_notes import CAUTIONS, notes
from wqverify.procedures.month_records import doubts_of
from wqverify.procedures.month_rules import EVALUATION, LIMIT, NTU, PAIR, PEOPLE, TOLERANCES, refuse
from wqverify.procedures.month_sheet import MonthSheet
from wqverify.procedures.month_shown import charts, values, workings
from wqverify.terms import Check, Given, Outcome, Procedure, Result, Setting, Slices, due_facts


def compute(sheet: MonthSheet, given: Given, slices: Slices) -> Result:
    """Return the result of one month.

    Raises CorrectTheEntry or ChooseAnother, with the legal ways on, for what cannot be taken: a month that is
    not over, a unit other than NTU, an export without a recording of the month, a limit nobody set.
    """
    refuse(sheet, given)
    known = known_of(sheet, given, slices)
    refuse_unknown(known)
    checks = tuple(checks_of(known))
    return Result(
        checks=checks,
        values=tuple(values(known)),
        workings=tuple(workings(known)),
        notes=tuple(notes(known)),
        charts=tuple(charts(known)),
        facts=_facts(known, checks),
    )


def expects(sheet: MonthSheet, given: Given) -> tuple[str, ...]:
    """Return the keys of the checks that a sheet asks for; a result without one of them is an error."""
    return tuple(expected(sheet, given))


def _facts(known: Known, checks: tuple[Check, ...]) -> dict[str, str]:
    """What later months are told: the month, its percentage, the pairs of each filter."""
    told = {
        "verifies": "no",
        "told.verifies": "This verifies no analyzer: their own checks do.",
        "month": known.month.name,
        **{key: said for version in known.versions for key, said in _told(known, version, checks)},
        "told.work": _work(known, checks),
    }
    rests = {
        one.number
        for channel in (known.recorded.combined, *known.recorded.filters)
        for one in doubts_of(channel.tag, known.month, known.given)
    }
    told |= {"rests_on": ", ".join(sorted(rests))} if rests else {}
    for version in known.versions:
        highest = known.highest(version) if version.of_combined else None
        if version.of_combined:
            told[f"cfe.within{version.suffix}"] = f"{known.within(version)} of {len(version.standing)}"
        if highest is not None:
            told[f"cfe.highest{version.suffix}"] = f"{highest[0]:f}"
        for name in (PAIR, EVALUATION):
            total = 0
            for channel in version.filters:
                limit = known.high(name, channel.tag)
                pairs = sum(run.pairs for run in channel.runs(limit))
                told[f"{pairs_fact(channel.tag, limit)}{version.suffix}"] = str(pairs)
                total += pairs
            if version.filters:
                told[f"ife.pairs.{known.high(name).normalize():f}{version.suffix}"] = str(total)
    return told | due_facts(known.month.name, (one.clock(known.month) for one in follow_ups(known)))


def _work(known: Known, checks: tuple[Check, ...]) -> str:
    """Say what was judged: limits of the water apart from what is reported of filters, and what was not."""
    filters = [one for one in checks if one.stage.startswith(NO_FILTER)]
    limits = [one for one in checks if one not in filters]
    said = [f"{_failed(limits)} of {len(limits)} limits of the water broken"]
    if filters:
        said.append(f"{_failed(filters)} of {len(filters)} checks of filters ask for a report or more")
    open_ = sum(one.outcome is Outcome.NOT_EVALUATED for one in checks)
    said.append(f"{open_ or 'none'} not evaluated")
    past = ", ".join(one.key for one in overdue(known))
    late = f" Was due before, and is not said to be done: {past}." if past else ""
    return f"{known.month.words} was judged by the rules of filtration: {'; '.join(said)}.{late}"


def _failed(checks: list[Check]) -> int:
    return sum(one.outcome is Outcome.FAIL for one in checks)


def _told(known: Known, version: Version, checks: tuple[Check, ...]) -> Iterator[tuple[str, str]]:
    """Say each verdict of the month in one sentence, as it is told over a radio, under its stage."""
    month = f"{known.month.words}, {version.name}"
    if version.of_combined:
        highest = known.highest(version)
        most = f", the highest {highest[0]} {NTU}" if highest is not None else ""
        yield (
            f"told.{version.limits}",
            f"{month}: {known.within(version)} of {len(version.standing)} values of the combined effluent at "
            f"or below {known.high(LIMIT)} {NTU}{most}.{_broken(version.limits, checks)}",
        )
    if version.filters:
        filters = "; ".join(_pairs_words(known, channel) for channel in version.filters)
        yield f"told.{version.to_report}", f"{month}: {filters}."


def _broken(stage: str, checks: tuple[Check, ...]) -> str:
    """Name what of the water lies outside its limit, or was not judged: a number alone does not say it."""
    words = {Outcome.FAIL: "Outside its limit", Outcome.NOT_EVALUATED: "Not evaluated"}
    said = [
        f" {word}: {', '.join(one.label for one in checks if (one.stage, one.outcome) == (stage, outcome))}."
        for outcome, word in words.items()
        if any((one.stage, one.outcome) == (stage, outcome) for one in checks)
    ]
    return "".join(said)


def _pairs_words(known: Known, channel: Channel) -> str:
    limit = known.high(PAIR, channel.tag)
    pairs = sum(run.pairs for run in channel.runs(limit))
    return f"{channel.tag} {pairs or 'no'} {'pair' if pairs == 1 else 'pairs'} above {limit} {NTU}"


PROCEDURE = Procedure(
    name=NAME,
    title="Turbidity of a month",
    revision=1,
    Sheet=MonthSheet,
    compute=compute,
    expects=expects,
    refuse=refuse,
    cautions=CAUTIONS,
    beside=BESIDE,
    tolerances=TOLERANCES,
    settings={PEOPLE: Setting("1", "100000000", whole=True), "good_flag": Setting("0", "999999", whole=True)},
    looks_back={NAME: 12},
    cites="own",
    clocks=clocks,
    month_due=report_due,
    binds=binds,
)
