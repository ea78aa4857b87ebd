"""A yearly review as blocks: tables of figures, and the sentences that say what they are worth."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Final

from wqverify.calculations.errors_in_both import interval
from wqverify.calculations.repeatability import Band
from wqverify.lists.yearly_review import BOTH, DEMING, PASSING_BABLOK, THEIL_SEN, Review
from wqverify.show.blocks import Block, Column, Facts, Row, Statement, Table, Title
from wqverify.show.printable import minus

ENOUGH = 40  # pairs
NARROW = 0.975  # correlation below which a range of levels is narrow
_UNSIGNED = (
    "A list for the people who look after the two instruments, not a record: nobody signs it, nothing here "
    "is judged, and nothing of it is in the record book."
)
_SYNTHETIC = "Synthetic data: an invented pair of instruments of an invented plant."

THE_PAIR: Final = "The pair"
APART: Final = "How far apart"
AGAINST_LEVEL: Final = "Does the difference depend on the level"
TOGETHER: Final = "How far the two agree in one number"
LINES: Final = "Lines through the pairs"
REPEATABILITY: Final = "Repeatability by level"
IN_MIND: Final = "What to keep in mind"
NOT_COMPUTED: Final = "What could not be computed"
HEADINGS: Final = (
    THE_PAIR,
    APART,
    AGAINST_LEVEL,
    TOGETHER,
    LINES,
    REPEATABILITY,
    IN_MIND,
    NOT_COMPUTED,
)
_FROM_TO = (Column("from", "number"), Column("to", "number"))


def title(review: Review) -> list[Block]:
    """Return what the review is of, that it is unsigned, and whether its data are synthetic."""
    pair = review.pair
    made: list[Block] = [
        Title(f"{pair.second} against {pair.first}", "Yearly review of a pair of instruments"),
        Statement(_UNSIGNED, "Unsigned review"),
    ]
    if pair.synthetic:
        made.append(Statement(_SYNTHETIC, "Synthetic"))
    return made


def section(review: Review, heading: str) -> list[Block]:
    """Return the blocks that stand under one of ``HEADINGS``; a section without content says so."""
    return list(_SECTIONS[heading](review)) or [Statement("None.")]


# ---------------------------------------------------------------- sections


def _the_pair(review: Review) -> Iterator[Block]:
    pair = review.pair
    days = (int(pair.times[-1]) - int(pair.times[0])) / 86400
    rows = [
        ("first", pair.first),
        ("second", pair.second),
        ("unit", pair.unit or "not told"),
        ("resolution", str(pair.resolution)),
        ("pairs", f"{len(pair.a)}, over {days:.0f} days"),
        ("without a partner", f"{pair.alone[0]} of the first, {pair.alone[1]} of the second"),
        (
            "levels of the first",
            f"{_plain(review, float(pair.a.min()))} to {_plain(review, float(pair.a.max()))}",
        ),
        ("file", pair.file),
        ("digest of the file", pair.digest),
    ]
    yield Facts(tuple(rows))
    for sentence in pair.told:
        yield Statement(sentence, "Read")


def _apart(review: Review) -> Iterator[Block]:
    found = review.agreement
    rows = [
        ("bias", found.bias, found.bias_interval),
        ("lower limit of agreement", found.low, found.low_interval),
        ("upper limit of agreement", found.high, found.high_interval),
    ]
    if review.independent < found.n:
        # The same interval for as many pairs as the record is worth.
        wider = (found.n / review.independent) ** 0.5
        half = (found.bias_interval[1] - found.bias) * wider
        ends = (found.bias - half, found.bias + half)
        rows.insert(1, (f"bias, of {review.independent:.0f} independent pairs", found.bias, ends))
    yield Table(
        (Column(f"{review.pair.second} less {review.pair.first}"), Column("value", "number"), *_FROM_TO),
        tuple(
            Row((name, _value(review, v), _value(review, low), _value(review, high)))
            for name, v, (low, high) in rows
        ),
        title=f"{_percent(found.level)} intervals{_in_unit(review)}",
    )
    yield Facts(
        (
            ("standard deviation of the differences", _value(review, found.sd)),
            ("limits", f"bias ± {found.factor} standard deviations"),
            ("pairs", str(found.n)),
            ("correlation of neighbouring differences", f"{review.correlation_of_neighbours:.2f}"),
        )
    )


def _against_level(review: Review) -> Iterator[Block]:
    trend = review.trend
    if trend is None:
        return
    low, high = trend.interval
    rows = (
        ("slope, per unit of level", _figures(trend.slope), _figures(low), _figures(high)),
        ("p of one this large, were it 0", _p(trend.p), "", ""),
    )
    columns = (Column("difference on mean"), Column("value", "number"), *_FROM_TO)
    yield Table(columns, tuple(Row(row) for row in rows), title=f"{_percent(trend.level)} interval")


def _together(review: Review) -> Iterator[Block]:
    found = review.concordance
    if found is None:
        return
    low, high = found.interval or (None, None)
    rows = (
        ("concordance", _figures(found.value), _figures(low), _figures(high)),
        ("correlation (scatter)", _figures(found.correlation), "", ""),
        ("bias correction (shift and scale)", f"{found.accuracy:.5f}", "", ""),
    )
    columns = (Column("Lin 1989"), Column("value", "number"), *_FROM_TO)
    yield Table(columns, tuple(Row(row) for row in rows), title=f"{_percent(found.level)} interval")


def _lines(review: Review) -> Iterator[Block]:
    level = review.pair.choices.level
    rows: list[tuple[str, ...]] = []
    for name, line in review.lines.items():
        slope = (line.b, *interval(line.b, line.u_b, line.dof, level))
        intercept = (line.a, *interval(line.a, line.u_a, line.dof, level))
        rows.append((name, *map(_figures, slope), *(_value(review, a) for a in intercept)))
    for name, ranked in review.rank_lines.items():
        slopes = (ranked.slope, ranked.slope_low, ranked.slope_high)
        intercepts = (ranked.intercept, ranked.intercept_low, ranked.intercept_high)
        rows.append((name, *map(_fraction, slopes), *(_steps(review, a) for a in intercepts)))
    if not rows:
        return
    both = (Column("slope", "number"), *_FROM_TO, Column("intercept", "number"), *_FROM_TO)
    yield Statement(
        f"{review.pair.second} = intercept + slope x {review.pair.first}{_in_unit(review)}, with "
        f"{_percent(level)} intervals."
    )
    yield Table((Column("line"), *both), tuple(Row(row) for row in rows))
    if (honest := review.lines.get(BOTH)) is not None:
        yield Facts(((f"{BOTH}: S/(n - 2), about 1 where u is honest", f"{honest.residual_sd**2:.4f}"),))


def _repeatability(review: Review) -> Iterator[Block]:
    for name, found in review.repeatability.items():
        rows = [_band_row(review, band) for band in (*found.bands, found.pooled)]
        rows[-1] = ("all, pooled", *rows[-1][1:])
        columns = (
            Column("level"),
            Column("dof", "number"),
            Column("s_r", "number"),
            *_FROM_TO,
            Column("limit 2.77 s_r", "number"),
        )
        title_ = f"{name}, duplicates; {_percent(found.level)} intervals{_in_unit(review)}"
        yield Table(columns, tuple(Row(row) for row in rows), title=title_)


def _band_row(review: Review, band: Band) -> tuple[str, ...]:
    low = "" if band.low is None else f"from {band.low:g} "
    high = "" if band.high is None else f"below {band.high:g}"
    if band.s is None or band.interval is None or band.limit is None:
        return ((low + high).strip() or "all", "0", "", "", "", "")
    figures = (band.s, *band.interval, band.limit)
    return ((low + high).strip() or "all", str(band.dof), *(_value(review, f) for f in figures))


def _in_mind(review: Review) -> Iterator[Block]:
    for text, source in words(review):
        yield Statement(text, source=source)


def _not_computed(review: Review) -> Iterator[Block]:
    for name, reason in review.refused.items():
        yield Statement(reason, name)


_SECTIONS: Final = {
    THE_PAIR: _the_pair,
    APART: _apart,
    AGAINST_LEVEL: _against_level,
    TOGETHER: _together,
    LINES: _lines,
    REPEATABILITY: _repeatability,
    IN_MIND: _in_mind,
    NOT_COMPUTED: _not_computed,
}


# ---------------------------------------------------------------- what the figures are worth


def words(review: Review) -> list[tuple[str, str]]:
    """Return the sentences on what this review cannot show, each with its source."""
    return [*_on_number(review), *_on_order(review), *_on_range(review), *_on_steps(review), *_always()]


def _on_number(review: Review) -> Iterator[tuple[str, str]]:
    n = review.agreement.n
    if n < ENOUGH:
        yield (
            f"{n} pairs are few: limits of agreement and lines from fewer than {ENOUGH} pairs move from one "
            f"review to the next by chance alone. Read the intervals, not the values.",
            "common practice, no source",
        )


def _on_order(review: Review) -> Iterator[tuple[str, str]]:
    n, worth_ = review.agreement.n, review.independent
    if worth_ < n:
        yield (
            f"Neighbouring differences correlate by {review.correlation_of_neighbours:.2f}: the {n} pairs "
            f"are worth about {worth_:.0f} independent ones. Except where it says so, the intervals take "
            f"pairs as independent and are too narrow.",
            "first-order autocorrelation, common mathematics",
        )


def _on_range(review: Review) -> Iterator[tuple[str, str]]:
    found = review.concordance
    if found is not None and found.correlation < NARROW:
        yield (
            f"The two correlate by {found.correlation:.3f}, below {NARROW}: the levels span little more than "
            f"the scatter, and slope and intercept say little by themselves. The bias does.",
            "common practice, from memory",
        )
    if found is not None:
        yield (
            "Concordance grows with the range of levels; compare it only with a review over the same range.",
            "Lin 1989",
        )


def _on_steps(review: Review) -> Iterator[tuple[str, str]]:
    for name, line in review.rank_lines.items():
        if line.slope_low is not None and line.slope_low == line.slope_high:
            yield (
                f"The interval of {name} has no width: the steps of {review.pair.resolution} make its slopes "
                f"tie. It is the record that is coarse, not the slope that is certain.",
                "ties of recorded values, computed exactly",
            )
    line_ = review.rank_lines.get(PASSING_BABLOK)
    if line_ is not None and (line_.slope_low is None or line_.slope_high is None):
        yield (
            "Passing-Bablok has no limit on one side or both: too few pairs, or levels that hardly differ.",
            "rank rule of 1983",
        )


def _always() -> Iterator[tuple[str, str]]:
    yield (
        f"Neither instrument is the reference here: {DEMING} takes both as equally uncertain unless told "
        f"otherwise, {THEIL_SEN} takes the first as known and is too flat where it is not. An error that "
        f"both share (one standard, one sample line) is not seen.",
        "",
    )


# ---------------------------------------------------------------- figures


def _plain(review: Review, value: float) -> str:
    return minus(f"{value:.{review.pair.decimals}f}")


def _value(review: Review, value: float) -> str:
    """Two digits beyond the resolution; no zero has a sign."""
    digits = review.pair.decimals + 2
    return minus(f"{round(value, digits) + 0.0:.{digits}f}")


def _figures(value: float | None) -> str:
    return "none" if value is None else minus(f"{value:.5f}")


def _fraction(value: Fraction | None) -> str:
    return _figures(None if value is None else float(value))


def _steps(review: Review, value: Fraction | None) -> str:
    return "none" if value is None else _value(review, float(value * Fraction(review.pair.resolution)))


def _p(p: float) -> str:
    return f"{p:.4f}" if p >= 0.0001 else "below 0.0001"


def _percent(level: float) -> str:
    return f"{level * 100:g} %"


def _in_unit(review: Review) -> str:
    return f", in {review.pair.unit}" if review.pair.unit else ""
