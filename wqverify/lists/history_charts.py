"""The charts of a history, in ink only: values in time with their tolerance, and the control charts.

How a check ended is the shape of its mark, never its colour; limits are named in place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from io import BytesIO
from itertools import pairwise
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np

from wqverify.calculations.control_chart import Individuals, Sums, Weighted
from wqverify.lists.history import Charts, Figures
from wqverify.lists.history_figures import label_of
from wqverify.lists.history_series import Point, Series
from wqverify.lists.plan import title_of
from wqverify.lists.review_charts import STYLE, in_the_margin
from wqverify.show.printable import minus
from wqverify.terms import Outcome

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Outcome -> shape and filling; a value that is not judged has none.
_MARKS = {
    str(Outcome.PASS): ("o", "none"),
    str(Outcome.FAIL): ("s", "black"),
    str(Outcome.TOO_CLOSE): ("D", "0.6"),
    str(Outcome.NOT_EVALUATED): ("x", "black"),
    "": ("o", "none"),
}
_MANY = 150  # values from which marks are drawn small
_TITLE_WIDTH = 100  # letters of a title that stand in a line


def run_chart(figures: Figures) -> bytes:
    """Return a series in time with its tolerance and adjustments as SVG; the same gives the same bytes."""
    return _drawn([lambda axes: _run(axes, figures)], _title(figures), (7.1, 2.9))


def control_charts(figures: Figures, charts: Charts) -> bytes:
    """Return individuals, moving range, EWMA and CUSUM of a series as one SVG."""
    series, limits = figures.series, charts.individuals
    return _drawn(
        [
            lambda axes: _individuals(axes, series, limits),
            lambda axes: _ranges(axes, series, limits),
            lambda axes: _weighted(axes, series, charts.weighted),
            lambda axes: _sums(axes, series, charts.sums),
        ],
        f"{_title(figures)}\nFilled squares lie outside their limits; dotted lines are adjustments.",
        (7.1, 7.2),
    )


def _title(figures: Figures) -> str:
    """What is drawn, of which procedure; a log that somebody else kept has none."""
    series = figures.series
    of = f"{series.serial}, {title_of(series.procedure)}: " if series.procedure else ""
    label = label_of(figures)
    named = f"{of}{label}" if label == series.key else f"{of}{label} ({series.key})"
    return "\n".join(wrap(named, _TITLE_WIDTH, break_on_hyphens=False)) or named


def _drawn(panels: Sequence[Callable[[Axes], None]], title: str, size: tuple[float, float]) -> bytes:
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=size, layout="constrained", dpi=200)
        FigureCanvasSVG(figure)
        every = figure.subplots(len(panels), 1, sharex=True, squeeze=False)[:, 0]
        figure.suptitle(minus(title), x=0.01, ha="left", fontsize=8.5, parse_math=False)
        for axes, panel in zip(every, panels, strict=True):
            panel(axes)
        out = BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": "wqverify"})
    return out.getvalue()


# ---------------------------------------------------------------- values in time


def _run(axes: Axes, figures: Figures) -> None:
    series = figures.series
    known = [point for point in series.points if point.value is not None]
    size = 3.0 if len(known) > _MANY else 4.5
    for outcome, (shape, face) in _MARKS.items():
        some = [point for point in known if point.outcome == outcome]
        if some:
            axes.plot(
                _days(some),
                np.array([point.value for point in some], float),
                linestyle="none",
                marker=shape,
                markersize=size,
                markerfacecolor=face,
                markeredgecolor="black",
                markeredgewidth=0.7,
                label=f"{series.stage.replace('_', ' ')}: {outcome}" if outcome else "value",
            )
    left = [point for point in known if point.left is not None and point.adjusted]
    if left:
        axes.plot(
            _days(left),
            np.array([p.left for p in left], float),
            "+",
            color="black",
            markersize=6,
            label="as left, adjusted",
        )
    for number, at in enumerate(_days([p for p in series.points if p.adjusted])):
        axes.axvline(at, color="0.5", linewidth=0.7, linestyle=":", label="adjusted" if not number else None)
    axes.axhline(0, color="black", linewidth=0.5)
    named = [(0.0, "0")]
    for bound in ("low", "high"):
        named += _tolerance(axes, series.points, bound)
    _axis(axes, series.unit)
    _names(axes)
    in_the_margin(axes, named)


def _tolerance(axes: Axes, points: Sequence[Point], bound: str) -> list[tuple[float, str]]:
    """Draw a side of the tolerance as it stood at each check, and return where its newest value stands."""
    held = [point for point in points if getattr(point, bound)]
    if not held:
        return []
    values = [float(getattr(point, bound)) for point in held]
    axes.plot(_days(held), values, color="black", linewidth=0.9, dashes=(5, 3), drawstyle="steps-post")
    return [(values[-1], f"tolerance {minus(getattr(held[-1], bound))}")]


# ---------------------------------------------------------------- control charts


def _individuals(axes: Axes, series: Series, found: Individuals) -> None:
    _path(axes, series, series.values, found.outside)
    named = [(found.mean, f"mean {_short(found.mean)}")]
    named += _limits(axes, (found.low, found.high))
    axes.axhline(found.mean, color="black", linewidth=0.7)
    _axis(axes, series.unit, "value")
    in_the_margin(axes, named)


def _ranges(axes: Axes, series: Series, found: Individuals) -> None:
    _path(axes, series, found.ranges, found.ranges_outside)
    named = [(found.mean_range, f"mean {_short(found.mean_range)}")]
    axes.axhline(found.mean_range, color="black", linewidth=0.7)
    named += _limits(axes, (found.range_high,))
    _axis(axes, series.unit, "moving range")
    in_the_margin(axes, named)


def _weighted(axes: Axes, series: Series, found: Weighted) -> None:
    _path(axes, series, found.z, found.outside)
    days = _days(series.points)
    for side in (found.low, found.high):
        axes.plot(days, side, color="black", linewidth=0.9, dashes=(5, 3), drawstyle="steps-mid")
    _axis(axes, series.unit, "EWMA")
    in_the_margin(axes, [(end, f"limit {_short(end)}") for end in (found.steady_low, found.steady_high)])


def _sums(axes: Axes, series: Series, found: Sums) -> None:
    _path(axes, series, found.high, [i for i in found.above if found.high[i] > found.h])
    down = [-s for s in found.low]
    _path(axes, series, down, [i for i in found.above if found.low[i] > found.h])
    named = _limits(axes, (-found.h, found.h))
    axes.axhline(0, color="black", linewidth=0.5)
    _axis(axes, series.unit, "CUSUM, up and down")
    in_the_margin(axes, named)


def _path(axes: Axes, series: Series, values: Sequence[float | None], outside: Sequence[int]) -> None:
    """Draw values in time, joined between adjustments; outside is a filled square."""
    days = _days(series.points)
    drawn = np.array([np.nan if value is None else value for value in values])
    for first, end in pairwise([0, *sorted(series.restarts), len(days)]):
        axes.plot(days[first:end], drawn[first:end], color="0.45", linewidth=0.7)
    for at in _days([point for point in series.points if point.adjusted]):
        axes.axvline(at, color="0.5", linewidth=0.7, linestyle=":")
    beyond = np.isin(np.arange(len(drawn)), list(outside))
    size = 2.5 if len(drawn) > _MANY else 3.5
    for chosen, shape, face in ((~beyond, "o", "none"), (beyond, "s", "black")):
        axes.plot(
            days,
            np.where(chosen, drawn, np.nan),
            linestyle="none",
            marker=shape,
            markersize=size,
            markerfacecolor=face,
            markeredgecolor="black",
            markeredgewidth=0.6,
        )


def _limits(axes: Axes, ends: Sequence[float]) -> list[tuple[float, str]]:
    for end in ends:
        axes.axhline(end, color="black", linewidth=0.9, dashes=(5, 3))
    return [(end, f"limit {_short(end)}") for end in ends]


# ---------------------------------------------------------------- axes and words


def _days(points: Sequence[Point]) -> list[Any]:
    return [datetime.fromisoformat(point.performed).replace(tzinfo=None) for point in points]


def _axis(axes: Axes, unit: str, word: str = "") -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    locator = AutoDateLocator(minticks=3, maxticks=9)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]
    axes.set_ylabel(", ".join(each for each in (word, unit) if each), parse_math=False)
    axes.margins(x=0.03, y=0.15)


def _names(axes: Axes) -> None:
    legend = axes.legend(loc="lower left", bbox_to_anchor=(0, 1), ncols=4, frameon=False, borderaxespad=0.2)
    for text in legend.get_texts():
        text.set_parse_math(False)


def _short(value: float) -> str:
    return minus(f"{value:.3g}")
