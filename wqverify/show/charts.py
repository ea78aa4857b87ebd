"""A chart of a result becomes an SVG: the same bytes for the notebook and the page.

Text becomes paths, so that no font of the reader matters; series differ by the shape of their marks, lines
are labelled in place, and nothing depends on colour. matplotlib is imported when the first one is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from io import BytesIO
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from wqverify.terms import Chart

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
_SIZE = (7.1, 2.2)  # inches: the width of the page


def chart_svg(chart: Chart) -> bytes:
    """Return a chart as SVG; the same chart gives the same bytes everywhere."""
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=_SIZE, layout="constrained")
        FigureCanvasSVG(figure)
        axes = figure.add_subplot()
        axes.set_title(chart.title, loc="left", fontsize=9, parse_math=False)
        axes.set_xlabel(chart.x_label, parse_math=False)
        axes.set_ylabel(chart.y_label, parse_math=False)
        {"errors": _errors, "trace": _trace, "pairs": _pairs}[chart.kind](axes, chart)
        _limits(axes, chart)
        if len(chart.series) > 1:
            legend = axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), frameon=False, borderaxespad=0)
            for label in legend.get_texts():
                label.set_parse_math(False)
        out = BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": "wqverify"})
    return out.getvalue()


# ---------------------------------------------------------------- the three kinds


def _errors(axes: Axes, chart: Chart) -> None:
    """Errors with their U as bars; what shares an x stands side by side."""
    places = _Places(chart)
    axes.axhline(0, color="black", linewidth=0.5)
    apart = places.step * min(0.14, 0.5 / max(1, len(chart.series)))
    for n, series in enumerate(chart.series):
        shift = (n - (len(chart.series) - 1) / 2) * apart
        x = [places.at(text) + shift for text, _, _ in series.points]
        y = [float(text) for _, text, _ in series.points]
        u = [float(text) if text else 0.0 for _, _, text in series.points]
        shape, face = _MARKS[n % len(_MARKS)]
        axes.errorbar(
            x,
            y,
            yerr=u,
            linestyle="none",
            marker=shape,
            markersize=5,
            markerfacecolor=face,
            markeredgecolor="black",
            ecolor="black",
            elinewidth=0.8,
            capsize=3,
            label=series.name,
        )
    places.ticks(axes)


def _trace(axes: Axes, chart: Chart) -> None:
    """Values in their order, usually of time."""
    places = _Places(chart)
    dashes = ("-", "--", ":", "-.")
    for n, series in enumerate(chart.series):
        shape, face = _MARKS[n % len(_MARKS)]
        axes.plot(
            [places.at(x) for x, _, _ in series.points],
            [float(y) for _, y, _ in series.points],
            linestyle=dashes[n % len(dashes)],
            linewidth=0.9,
            color="black",
            marker=shape if len(series.points) <= 60 else "",
            markersize=4,
            markerfacecolor=face,
            label=series.name,
        )
    places.ticks(axes)


def _pairs(axes: Axes, chart: Chart) -> None:
    """One against the other, with the line on which both are equal."""
    for n, series in enumerate(chart.series):
        shape, face = _MARKS[n % len(_MARKS)]
        x, y = [float(p[0]) for p in series.points], [float(p[1]) for p in series.points]
        axes.plot(
            x,
            y,
            linestyle="none",
            marker=shape,
            markersize=5,
            markerfacecolor=face,
            color="black",
            label=series.name,
        )
    low = max(axes.get_xlim()[0], axes.get_ylim()[0])
    high = min(axes.get_xlim()[1], axes.get_ylim()[1])
    if low < high:
        axes.plot([low, high], [low, high], color="black", linewidth=0.5)


def _limits(axes: Axes, chart: Chart) -> None:
    """Limits as dashed lines, each with its name on it."""
    for line in chart.lines:
        y = float(line.y)
        axes.axhline(y, color="black", linewidth=0.9, dashes=(5, 3))
        axes.annotate(
            line.label,
            (0.995, y),
            xycoords=("axes fraction", "data"),
            xytext=(0, 2),
            textcoords="offset points",
            ha="right",
            va="bottom",
            fontsize=7,
            parse_math=False,
        )
    axes.margins(x=0.08 if chart.kind != "errors" else 0.15, y=0.18)
    axes.autoscale_view()


# ---------------------------------------------------------------- where a point stands


class _Places:
    """Positions of x texts: numbers or times where all are such, else one after the other."""

    def __init__(self, chart: Chart) -> None:
        self._texts = list(dict.fromkeys(x for series in chart.series for x, _, _ in series.points))
        numbers, times = _all(self._texts, float), _all(self._texts, datetime.fromisoformat)
        self._named = False
        self._at: dict[str, float]
        if chart.kind == "trace" and numbers is None and times is not None:
            zero = min(times)
            self._at = {t: (at - zero).total_seconds() / 60 for t, at in zip(self._texts, times, strict=True)}
            self._clock = {t: at.strftime("%m-%d %H:%M") for t, at in zip(self._texts, times, strict=True)}
        elif numbers is not None:
            self._at = dict(zip(self._texts, numbers, strict=True))
            self._clock = {}
        else:
            self._at = {text: float(n) for n, text in enumerate(self._texts)}
            self._clock = {}
            self._named = True
        places = sorted(set(self._at.values()))
        gaps = [b - a for a, b in pairwise(places)]
        self.step = min(gaps, default=1.0)
        if len(gaps) > 0:  # two near-equal points must not squeeze the rest into one mark
            self.step = max(self.step, (places[-1] - places[0]) / 40)

    def at(self, text: str) -> float:
        return self._at[text]

    def ticks(self, axes: Axes) -> None:
        """Name the places on the axis, not more of them than can be read."""
        if self._clock:
            chosen = self._texts[:: max(1, len(self._texts) // 7)]
            axes.set_xticks([self._at[t] for t in chosen], [self._clock[t] for t in chosen], parse_math=False)
        elif self._named or len(self._texts) <= 8:
            axes.set_xticks([self._at[t] for t in self._texts], self._texts, parse_math=False)
        if len(self._at) == 1:
            only = next(iter(self._at.values()))
            axes.set_xlim(only - 1, only + 1)


def _all(texts: Sequence[str], read: Any) -> list[Any] | None:
    try:
        return [read(text) for text in texts]
    except ValueError:
        return None
