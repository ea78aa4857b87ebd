"""The charts of a yearly review, in ink only: difference against level, and the pairs with their lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wqverify.lists.yearly_review import Review
from wqverify.show.printable import minus

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STYLE: Any = {
    "svg.hashsalt": "wqverify",
    "svg.fonttype": "path",
    "font.family": "DejaVu Sans",
    "font.size": 8,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.parse_math": False,  # names of channels may hold a $
    "text.usetex": False,
}
_DASHES = ("--", "-.", ":", (0, (8, 2)))
_FEW = 300  # marks that do not hide the lines
_MANY = 1500  # marks from which they are a picture inside the picture
_APART = 10.0  # points between two labels in the margin


def difference_chart(review: Review) -> bytes:
    """Return the differences against the level as SVG; the same review gives the same bytes."""
    return _drawn(lambda axes: _differences(axes, review), (7.1, 3.0))


def pairs_chart(review: Review) -> bytes:
    """Return the pairs with their lines as SVG; the same review gives the same bytes."""
    return _drawn(lambda axes: _pairs(axes, review), (7.1, 4.2))


def _drawn(draw: Callable[[Axes], None], size: tuple[float, float]) -> bytes:
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=size, layout="constrained", dpi=200)
        FigureCanvasSVG(figure)
        axes = figure.add_subplot()
        draw(axes)
        out = BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": "wqverify"})
    return out.getvalue()


def _differences(axes: Axes, review: Review) -> None:
    pair, found = review.pair, review.agreement
    unit = f", {pair.unit}" if pair.unit else ""
    _points(axes, (pair.a + pair.b) / 2, pair.b - pair.a)
    axes.axhline(0, color="black", linewidth=0.5)
    for ends in (found.bias_interval, found.low_interval, found.high_interval):
        axes.axhspan(*ends, facecolor="0.85", edgecolor="none", zorder=0)
    named = []
    for name, y, dash in (
        ("upper limit", found.high, "--"),
        ("bias", found.bias, "-"),
        ("lower limit", found.low, "--"),
    ):
        axes.axhline(y, color="black", linewidth=1.0, linestyle=dash)
        named.append((y, f"{name} {_short(review, y)}"))
    named.append((0.0, "no difference"))
    axes.set_xlabel(f"mean of {pair.first} and {pair.second}{unit}")
    axes.set_ylabel(f"{pair.second}\nless {pair.first}{unit}")
    axes.margins(x=0.03, y=0.12)
    in_the_margin(axes, named)


def _pairs(axes: Axes, review: Review) -> None:
    pair = review.pair
    unit = f", {pair.unit}" if pair.unit else ""
    _points(axes, pair.a, pair.b)
    ends = np.array([pair.a.min(), pair.a.max()])
    axes.plot(ends, ends, color="black", linewidth=0.5)
    named = [(float(ends[1]), "both equal")]
    for dash, (name, a, b) in zip(_DASHES, _lines(review), strict=False):
        axes.plot(ends, a + b * ends, color="black", linewidth=1.0, linestyle=dash)
        named.append((float(a + b * ends[1]), f"{name}, slope {b:.3f}"))
    axes.set_xlabel(f"{pair.first}{unit}")
    axes.set_ylabel(f"{pair.second}{unit}")
    axes.margins(x=0.0, y=0.06)
    axes.set_xlim(*_room(ends))
    in_the_margin(axes, named, start=float(ends[1]))


def _lines(review: Review) -> list[tuple[str, float, float]]:
    """Name, intercept and slope of each fitted line."""
    step = float(review.pair.resolution)
    ranked = [(n, float(line.intercept) * step, float(line.slope)) for n, line in review.rank_lines.items()]
    return [*((name, line.a, line.b) for name, line in review.lines.items()), *ranked]


def _points(axes: Axes, x: NDArray[np.float64], y: NDArray[np.float64]) -> None:
    """One mark for each value that occurs, the larger the more often: recorded values lie on a grid."""
    places, often = np.unique(np.column_stack([x, y]), axis=0, return_counts=True)
    size = 9 * np.sqrt(often / np.median(often))
    axes.scatter(
        places[:, 0],
        places[:, 1],
        s=np.clip(size, 4, 60),
        facecolors="none",
        edgecolors="0.3" if len(places) <= _FEW else "0.55",
        linewidths=0.6,
        rasterized=len(places) > _MANY,
        zorder=1,
    )


def _room(ends: NDArray[np.float64]) -> tuple[float, float]:
    span = float(ends[1] - ends[0]) or 1.0
    return float(ends[0]) - 0.03 * span, float(ends[1]) + 0.03 * span


def _short(review: Review, value: float) -> str:
    digits = review.pair.decimals + 1
    return minus(f"{round(value, digits) + 0.0:.{digits}f}")


def in_the_margin(axes: Axes, named: Sequence[tuple[float, str]], start: float | None = None) -> None:
    """Name lines at their right end, in the margin, apart from one another, with a thin leader."""
    axes.figure.canvas.draw()  # settles the scale
    low, high = axes.get_ylim()
    points = axes.get_window_extent().height * 72 / axes.figure.dpi
    ordered = sorted(named)
    wanted = [(y - low) / (high - low) * points for y, _name in ordered]
    for (y, name), at in zip(ordered, _moved_apart(wanted), strict=True):
        axes.annotate(
            name,
            xy=(1 if start is None else start, y),
            xycoords=("axes fraction" if start is None else "data", "data"),
            xytext=(1.03, at / points),
            textcoords="axes fraction",
            va="center",
            fontsize=7.5,
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "linewidth": 0.4, "color": "0.4", "shrinkA": 1, "shrinkB": 0},
        )


def _moved_apart(wanted: Sequence[float]) -> list[float]:
    """Places in rising order, at least a label apart and about where they were wanted."""
    groups: list[list[float]] = []
    for at in wanted:
        groups.append([at])
        while len(groups) > 1 and _lowest(groups[-1]) < _highest(groups[-2]) + _APART:
            groups[-2:] = [groups[-2] + groups[-1]]
    return [_lowest(group) + k * _APART for group in groups for k in range(len(group))]


def _lowest(group: Sequence[float]) -> float:
    return sum(group) / len(group) - _APART * (len(group) - 1) / 2


def _highest(group: Sequence[float]) -> float:
    return _lowest(group) + _APART * (len(group) - 1)
