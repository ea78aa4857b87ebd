"""A chart of a result becomes an SVG: the same bytes for the notebook and the page.

Text becomes paths, so that no font of the reader matters; series differ by the shape of their marks, limits
are labelled in place, and nothing depends on colour. matplotlib is imported when the first one is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache
from io import BytesIO
from itertools import pairwise
from textwrap import fill
from typing import TYPE_CHECKING, Any

from wqverify.show.printable import minus
from wqverify.terms import Chart, Line, Series

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_STYLE: Any = {
    "svg.hashsalt": "wqverify",  # ids inside the file depend on nothing else
    "svg.fonttype": "path",
    "font.family": "DejaVu Sans",  # comes with matplotlib
    "font.size": 8,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "axes.unicode_minus": True,
    "text.parse_math": False,  # data may hold a $
    "text.usetex": False,
}
# Shape and filling, in the order of the series; ink only.
_MARKS = (("o", "none"), ("s", "black"), ("^", "0.6"), ("D", "none"), ("v", "black"), ("P", "0.6"))
_DASHES = ("-", "--", ":", "-.")
_SIZE = (7.1, 2.5)  # inches: the width of the page
_ABREAST = 110  # characters of names, with their marks, across a chart
_MANY = 60  # points of a trace from which marks would hide the line


def chart_svg(chart: Chart) -> bytes:
    """Return a chart as SVG; the same chart gives the same bytes everywhere."""
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    draw = {"errors": _errors, "trace": _trace, "samples": _samples, "pairs": _pairs}[chart.kind]
    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=_SIZE, layout="constrained")
        FigureCanvasSVG(figure)
        axes = figure.add_subplot()
        figure.suptitle(fill(_drawn(chart.title), 110), x=0.01, ha="left", fontsize=8.5, parse_math=False)
        axes.set_xlabel(fill(_drawn(chart.x_label), 90), parse_math=False)
        axes.set_ylabel(fill(_drawn(chart.y_label), 30), parse_math=False)
        draw(axes, chart)
        _limits(axes, chart.lines)
        _names(axes)
        out = BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": "wqverify"})
    return out.getvalue()


# ---------------------------------------------------------------- the four kinds


def _errors(axes: Axes, chart: Chart) -> None:
    """Errors with their U as bars; what shares an x stands side by side."""
    places = _Places(chart)
    axes.axhline(0, color="black", linewidth=0.6)
    for n, series in enumerate(chart.series):
        shift = (n - (len(chart.series) - 1) / 2) * places.apart(len(chart.series))
        _marks(axes, series, n, [places.at(x) + shift for x, _, _ in series.points])
    axes.margins(x=0.12, y=0.15)
    places.ticks(axes)


def _trace(axes: Axes, chart: Chart, *, joined: bool = True) -> None:
    """Values in their order, usually of time."""
    places = _Places(chart)
    for n, series in enumerate(chart.series):
        shape, face = _MARKS[n % len(_MARKS)]
        axes.plot(
            [places.at(x) for x, _, _ in series.points],
            [float(y) for _, y, _ in series.points],
            linestyle=_DASHES[n % len(_DASHES)] if joined else "none",
            linewidth=0.9,
            color="black",
            marker=shape if len(series.points) <= _MANY or not joined else "",
            markersize=4,
            markerfacecolor=face,
            label=_drawn(series.name),
        )
    axes.margins(x=0.03, y=0.15)
    places.ticks(axes)


def _samples(axes: Axes, chart: Chart) -> None:
    """Values that were taken one by one: no line between them, where nothing is known."""
    _trace(axes, chart, joined=False)


def _pairs(axes: Axes, chart: Chart) -> None:
    """One against the other, with the line on which both are equal."""
    for n, series in enumerate(chart.series):
        _marks(axes, series, n, [float(x) for x, _, _ in series.points])
    axes.margins(x=0.08, y=0.15)
    axes.axline((_any_x(chart), _any_x(chart)), slope=1, color="black", linewidth=0.6, label="both equal")


def _any_x(chart: Chart) -> float:
    return float(next((x for series in chart.series for x, _, _ in series.points), "0"))


def _marks(axes: Axes, series: Series, n: int, x: Sequence[float]) -> None:
    """Draw the points of a series, each with a bar where it has an uncertainty."""
    shape, face = _MARKS[n % len(_MARKS)]
    axes.errorbar(
        x,
        [float(y) for _, y, _ in series.points],
        yerr=[float(u) if u else math.nan for _, _, u in series.points],
        linestyle="none",
        color="black",
        marker=shape,
        markersize=5,
        markerfacecolor=face,
        elinewidth=0.8,
        capsize=2.5,
        label=_drawn(series.name),
    )


# ---------------------------------------------------------------- words on the chart


def _limits(axes: Axes, lines: Sequence[Line]) -> None:
    """Draw limits as dashed lines, each with its name at its end, outside the marks."""
    for line in lines:
        axes.axhline(float(line.y), color="black", linewidth=0.8, dashes=(5, 3))
        axes.annotate(
            _drawn(line.label),
            (1, float(line.y)),
            xycoords=("axes fraction", "data"),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=7.5,
            parse_math=False,
        )


def _names(axes: Axes) -> None:
    """Name the series above the chart, where they hide nothing."""
    longest = max((len(str(name)) for name in axes.get_legend_handles_labels()[1]), default=0)
    columns = min(4, max(1, _ABREAST // (longest + 10)))  # a wider legend would squeeze the chart
    legend = axes.legend(
        loc="lower left", bbox_to_anchor=(0, 1), ncols=columns, frameon=False, borderaxespad=0.2
    )
    for text in legend.get_texts():
        text.set_parse_math(False)


def _drawn(text: str) -> str:
    """Return a text as the font can draw it; what the font lacks is shown by its code."""
    return "".join(c if ord(c) in _glyphs() else f"[U+{ord(c):04X}]" for c in minus(text))


@lru_cache(maxsize=1)
def _glyphs() -> frozenset[int]:
    from matplotlib import font_manager

    font = font_manager.get_font(font_manager.findfont("DejaVu Sans"))
    return frozenset(font.get_charmap()) | {ord("\n")}


# ---------------------------------------------------------------- where a point stands


class _Places:
    """Positions of x texts: numbers where all are numbers, times where all are times, else a row of names."""

    def __init__(self, chart: Chart) -> None:
        texts = list(dict.fromkeys(x for series in chart.series for x, _, _ in series.points))
        numbers, times = _all(texts, float), _all(texts, datetime.fromisoformat)
        self._shown = {text: _drawn(text) for text in texts}
        self._own_scale = False  # many numbers: the axis names round ones
        if numbers is not None:
            self._at: dict[str, float] = dict(zip(texts, numbers, strict=True))
            self._own_scale = len(texts) > 8
        elif times is not None:
            zero = min(times)
            self._at = {t: (at - zero).total_seconds() for t, at in zip(texts, times, strict=True)}
            self._shown = {t: at.strftime("%m-%d %H:%M") for t, at in zip(texts, times, strict=True)}
        else:
            self._at = {text: float(n) for n, text in enumerate(texts)}
        places = sorted(set(self._at.values())) or [0.0]
        self._span = places[-1] - places[0] or 1.0
        # Two near-equal x, as one buffer at two temperatures, are one place: their series stand side by side.
        gaps = [b - a for a, b in pairwise(places) if b - a > self._span / 50]
        self._gap = min(gaps, default=self._span)

    def at(self, text: str) -> float:
        """Return where a text of x stands."""
        return self._at[text]

    def apart(self, series: int) -> float:
        """Return how far apart the series of one x stand: nearer to it than to the next x."""
        return min(self._span * 0.03, 0.7 * self._gap / series)

    def ticks(self, axes: Axes) -> None:
        """Name the places on the axis, none so near to the last one that their names would touch."""
        if len(set(self._at.values())) == 1:
            only = next(iter(self._at.values()))
            axes.set_xlim(only - 0.5, only + 0.5)
        if self._own_scale:
            return
        chosen: list[str] = []
        for text in sorted(self._at, key=self._at.__getitem__):
            room = self._span * 0.012 * (len(self._shown[text]) + 2)
            if not chosen or self._at[text] - self._at[chosen[-1]] >= room:
                chosen.append(text)
        axes.set_xticks([self._at[t] for t in chosen], [self._shown[t] for t in chosen], parse_math=False)


def _all(texts: Sequence[str], read: Any) -> list[Any] | None:
    try:
        return [read(text) for text in texts]
    except ValueError:
        return None
