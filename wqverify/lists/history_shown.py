"""The history of a tag as blocks: tables of figures, advice, and what they are worth in sentences."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Final

from wqverify.calculations.control_chart import cusum_run_length, ewma_run_length
from wqverify.calculations.uncertainty import coverage_factor
from wqverify.lists.history import ALLOWANCE, FIRM, LIMIT, WEIGHT, WIDTH, Figures, History, Instrument
from wqverify.lists.history_advice import LEVEL, Advice, Suggested
from wqverify.lists.history_figures import drifts, half_width, label_of, limits_of, rate_text, value_text
from wqverify.lists.history_risk import Risk, risk_of
from wqverify.lists.history_series import AS_FOUND, Point
from wqverify.lists.plan import title_of
from wqverify.show.blocks import Block, Column, Facts, Row, Statement, Table, Title
from wqverify.show.printable import minus
from wqverify.terms import Outcome

ROWS = 12  # newest values of a series that are listed unless all are asked for
_UNSIGNED = (
    "A list, not a record: nobody signs it, nothing here is judged, and nothing of it is in the record book. "
    "What was judged, the records named here say."
)
_SYNTHETIC = "Synthetic data: an invented analyzer of an invented plant."

INSTRUMENTS: Final = "The instruments behind the tag"
OVERVIEW: Final = "Every key in one table"
VALUES: Final = "What was found, check by check"
CHARTS: Final = "Control charts"
DRIFT: Final = "Drift per day"
ADVICE: Final = "The interval between checks"
RISK: Final = "How often a check decides wrongly"
IN_MIND: Final = "What to keep in mind"
HEADINGS: Final = (INSTRUMENTS, OVERVIEW, VALUES, CHARTS, DRIFT, ADVICE, RISK, IN_MIND)


def title(history: History) -> list[Block]:
    """Return what the history is of, that it is unsigned, and whether its data are synthetic."""
    made: list[Block] = [
        Title(f"History of {history.tag}", f"{history.measures}, from the {history.source}"),
        Statement(_UNSIGNED, "Unsigned"),
    ]
    if history.synthetic:
        made.append(Statement(_SYNTHETIC, "Synthetic"))
    return made


def section(history: History, heading: str, key: str = "", *, everything: bool = False) -> list[Block]:
    """Return the blocks that stand under one of ``HEADINGS``; a section without content says so.

    ``key`` chooses one key; ``everything`` lists all values instead of the newest.
    """
    found: Sequence[Block] = ()
    if heading == VALUES:
        found = [block for i in history.instruments for block in _values(i, key, everything)]
    elif heading in _BY_KEY:
        found = [block for i in history.instruments for block in _BY_KEY[heading](i, key)]
    else:
        found = list(_OF_ALL[heading](history))
    return list(found) or [Statement("None.")]


def shown_of(instrument: Instrument, key: str = "") -> list[Figures]:
    """Return the series that are listed and drawn: what is judged as found, or one key."""
    if key:
        return [one for one in instrument.figures if one.series.key == key]
    judged = [one for one in instrument.figures if one.series.judged and one.series.stage == AS_FOUND]
    return sorted(judged, key=lambda one: not one.series.counts) or list(instrument.figures)


# ---------------------------------------------------------------- sections


def _instruments(history: History) -> Iterator[Block]:
    rows = []
    for one in history.instruments:
        first, last = one.records[0].performed[:10], one.records[-1].performed[:10]
        times, newest = len(one.adjusted), ", ".join(kept.performed[:10] for kept in one.adjusted[-6:])
        adjusted = f"{times}: {newest}" if times <= 6 else f"{times}, the newest {newest}"
        rows.append((one.serial, str(len(one.records)), first, last, adjusted if times else "never"))
    columns = (
        Column("serial", "short"),
        Column("records", "number"),
        Column("first", "short"),
        Column("last", "short"),
        Column("adjusted"),
    )
    yield Table(columns, tuple(Row(row) for row in rows))
    if len(history.instruments) > 1:
        yield Statement(
            "An exchanged instrument begins series of its own: its errors say nothing about the other."
        )


def _overview(history: History) -> Iterator[Block]:
    columns = (
        Column("key"),
        Column("n", "number"),
        Column("newest", "number"),
        Column("mean", "number"),
        Column("unit", "short"),
        Column("in tolerance", "short"),
        Column("signals", "number"),
    )
    for one in history.instruments:
        rows = _by_procedure(one.figures, lambda figures: Row(_in_short(figures)))
        yield Table(columns, tuple(rows), title=f"{one.serial}")


def _in_short(figures: Figures) -> tuple[str, ...]:
    series = figures.series
    known = [value for value in series.values if value is not None]
    mean = value_text(figures, sum(known) / len(known)) if known else ""
    newest = next((p.text for p in reversed(series.points) if p.value is not None), "")
    judged = [p.outcome for p in series.points if p.outcome in (Outcome.PASS, Outcome.FAIL)]
    share = f"{judged.count(Outcome.PASS)} of {len(judged)}" if judged else ""
    signals = str(len(figures.signals)) if figures.charts is not None else ""
    return series.key, str(len(known)), minus(newest), mean, series.unit, share, signals


def _values(instrument: Instrument, key: str, everything: bool) -> Iterator[Block]:
    columns = (
        Column("day", "short"),
        Column("record", "short"),
        Column("value", "number"),
        Column("U", "number"),
        Column("tolerance", "short"),
        Column("outcome", "outcome"),
        Column("adjusted", "short"),
        Column("signal", "short"),
    )
    for one in shown_of(instrument, key):
        points = list(enumerate(one.series.points))
        listed = points if everything else points[-ROWS:]
        rows = [Row(_point(one, place, point)) for place, point in listed]
        if len(listed) < len(points):
            rows.insert(0, Row((f"{len(points) - len(listed)} older ones are not listed here.",), "note"))
        unit = f", in {one.series.unit}" if one.series.unit else ""
        what = f"{title_of(one.series.procedure)}: {label_of(one)}{unit}"
        named = f"{instrument.serial}, {what} ({one.series.key})"
        yield Table(columns, tuple(rows), title=named, dense=True)


def _point(figures: Figures, place: int, point: Point) -> tuple[str, ...]:
    limits = limits_of(point)
    value = minus(point.text) if point.value is not None else ""
    signal = "signal" if place in figures.signals else ""
    adjusted = "adjusted" if point.adjusted else ""
    return point.performed[:10], point.number, value, point.expanded, limits, point.outcome, adjusted, signal


def _by_procedure(found: Sequence[Figures], row: Callable[[Figures], Row]) -> list[Row]:
    """Return a row for each key under its procedure: two procedures may have a key of one name."""
    rows: list[Row] = []
    for procedure in dict.fromkeys(one.series.procedure for one in found):
        rows.append(Row((title_of(procedure),), "group"))
        rows += [row(one) for one in found if one.series.procedure == procedure]
    return rows


def _charts(instrument: Instrument, key: str) -> Iterator[Block]:
    columns = (
        Column("what"),
        Column("mean", "number"),
        Column("low limit", "number"),
        Column("high limit", "number"),
        Column("range limit", "number"),
        Column("outside", "number"),
        Column("EWMA", "number"),
        Column("CUSUM", "number"),
    )
    rows = _by_procedure(shown_of(instrument, key), _charted)
    yield Table(columns, tuple(rows), title=instrument.serial)
    yield Statement(
        f"Individuals: mean ± 3 mean moving ranges/1.128, range up to 3.267 of them. EWMA: weight "
        f"{WEIGHT:g}, {WIDTH:g} sigma. CUSUM: {ALLOWANCE:g} and {LIMIT:g} sigma about the mean. Each begins "
        f"anew after an adjustment. Where nothing changes, the EWMA gives a false signal every "
        f"{ewma_run_length(WEIGHT, WIDTH):.0f} values and the CUSUM every "
        f"{cusum_run_length(ALLOWANCE, LIMIT):.0f} on average.",
        source="NIST/SEMATECH e-Handbook 6.3.2",
    )


def _charted(one: Figures) -> Row:
    if one.charts is None:
        return Row((f"{label_of(one)}: {one.refused.get('charts', '')}",), "note")
    limits, weighted, sums = one.charts.individuals, one.charts.weighted, one.charts.sums
    figures = (limits.mean, limits.low, limits.high, limits.range_high)
    outside = len(set(limits.outside) | set(limits.ranges_outside))
    counted = (str(outside), str(len(weighted.outside)), str(len(sums.above)))
    return Row((label_of(one), *(value_text(one, figure) for figure in figures), *counted))


def _drift(instrument: Instrument, key: str) -> Iterator[Block]:
    columns = (
        Column("what"),
        Column("per day", "number"),
        Column("±", "number"),
        Column("scatter", "number"),
        Column("checks", "number"),
        Column("up to d", "number"),
        Column("at once", "number"),
        Column("then per day", "number"),
        Column("±", "number"),
    )
    rows = _by_procedure(shown_of(instrument, key), _drifted)
    yield Table(columns, tuple(rows), title=f"{instrument.serial}, {LEVEL:.0%} intervals")
    yield Statement(
        "Changes since the last adjustment, from what was left then (else from the first value after it), "
        "against the days: first through zero, then with a step at once.",
        source="least squares; NASA-HDBK-8739.19-5, variables data",
    )


def _drifted(one: Figures) -> Row:
    drift, line = one.drift, one.line
    if drift is None:
        return Row((f"{label_of(one)}: {one.refused.get('drift', '')}",), "note")
    with_step: tuple[str, ...] = ("", "", "")
    if line is not None:
        half = coverage_factor(float(line.dof), LEVEL) * line.u_b
        with_step = (value_text(one, line.a), rate_text(line.b), rate_text(half))
    through = (rate_text(drift.coefficients[0]), rate_text(half_width(drift)))
    counted = (value_text(one, drift.s), str(len(one.changes)), f"{drift.longest:.0f}")
    return Row((label_of(one), *through, *counted, *with_step))


def _risk(instrument: Instrument, key: str) -> Iterator[Block]:
    columns = (
        Column("what"),
        Column("T/U", "number"),
        Column("in tolerance", "number"),
        Column("wrongly passed", "number"),
        Column("wrongly failed", "number"),
        Column("limit by method 6", "number"),
        Column("then wrongly passed", "number"),
    )
    known = {id(one): risk for one in shown_of(instrument, key) if (risk := risk_of(one)) is not None}
    named = [one for one in shown_of(instrument, key) if id(one) in known]
    rows = _by_procedure(named, lambda one: Row(_risky(one, known[id(one)])))
    if not rows:
        return
    yield Table(columns, tuple(rows), title=instrument.serial)
    yield Statement(
        "Shares of all checks by the newest U and tolerance, were errors normal about 0 and so often in "
        "tolerance as found (where all were: so often that this was an even chance). The limit is a share of "
        "the tolerance.",
        source="JCGM 106:2012; method 6 of the Z540.3 handbook as published open code has it",
    )


def _risky(one: Figures, found: Risk) -> tuple[str, ...]:
    shares = (found.history, found.accept, found.reject, found.limit, found.guarded)
    return label_of(one), f"{found.tur:.1f}", *(f"{100 * share:.1f} %" for share in shares)


def _advice(history: History) -> Iterator[Block]:
    for one in history.instruments:
        for procedure, found in one.advice.items():
            yield from _advised(f"{one.serial}, {title_of(procedure)}", found)


def _advised(named: str, found: Advice) -> Iterator[Block]:
    share = ""
    if found.observed is not None:
        low, high = found.observed
        share = f", {LEVEL:.0%} confidence {low:.1%} to {high:.1%}"
    checks = f"{found.passed} of {found.checks} found in tolerance{share}"
    left = f"; {found.left_out} not about an interval apart" if found.left_out else ""
    left += f"; {found.undecided} too close to decide or not evaluated" if found.undecided else ""
    rows = [
        ("interval now", f"{found.current:g} d, from {found.current_from}"),
        ("checks", checks + left),
        ("to be found in tolerance", f"{found.choices.target:.1%} (a setting; common practice)"),
        (f"by the {found.choices.method}", headline(found)),
    ]
    yield Facts(tuple(rows), title=named)
    columns = (
        Column("method"),
        Column("days", "number"),
        Column("from", "number"),
        Column("to", "number"),
        Column("what it says"),
    )
    yield Table(columns, tuple(Row(_suggested(one)) for one in found.suggested))
    for note in found.notes:
        yield Statement(note)


def headline(found: Advice) -> str:
    """Return the advice in one sentence."""
    chosen = found.chosen
    if found.checks < found.needed:
        few = "1 check is" if found.checks == 1 else f"{found.checks} checks are"
        return f"no advice: {few} too few, {found.needed} are needed"
    if chosen.days is None:
        return f"no advice: {chosen.told}"
    if abs(chosen.days - found.current) < 0.5:
        return f"leave it at {found.current:g} d"
    word = "shorten" if chosen.days < found.current else "lengthen"
    cap = ", as far as one review goes" if chosen.capped else ""
    return f"{word} it to {_days(chosen.days)} d{cap}"


def _suggested(one: Suggested) -> tuple[str, ...]:
    days = _days(one.days) + (" (cap)" if one.capped else "") if one.days is not None else "none"
    return f"{one.method} [{one.source}]", days, _days(one.low), _days(one.high), one.told


def _days(days: float | None) -> str:
    if days is None:
        return ""
    return f"{days:.1f}" if days < 10 else f"{int(days)}"


def _in_mind(history: History) -> Iterator[Block]:
    few = [
        label_of(one)
        for instrument in history.instruments
        for one in shown_of(instrument)
        if one.charts is not None and len(one.series.points) < FIRM
    ]
    if few:
        yield Statement(
            f"Limits from fewer than {FIRM} values move with each new one: {', '.join(dict.fromkeys(few))}.",
            source="common practice, no source",
        )
    drifting = [
        label_of(one)
        for instrument in history.instruments
        for one in shown_of(instrument)
        if one.drift is not None and one.charts is not None and drifts(one.drift)
    ]
    if drifting:
        yield Statement(
            f"These keys drift between adjustments, and their charts signal the drift as well: "
            f"{', '.join(dict.fromkeys(drifting))}.",
            source="drift above its interval of confidence",
        )
    yield Statement(
        "A signal of a chart is a question, not a verdict: the instrument, its standard, its reference or "
        "the person changed. The mean and the scatter come from the same values that are looked at."
    )
    yield Statement(
        "What nobody adjusted and nobody found out is seen by no chart: an error that standard and analyzer "
        "share is in none of these values."
    )


_BY_KEY: Final = {CHARTS: _charts, DRIFT: _drift, RISK: _risk}
_OF_ALL: Final = {
    INSTRUMENTS: _instruments,
    OVERVIEW: _overview,
    ADVICE: _advice,
    IN_MIND: _in_mind,
}
