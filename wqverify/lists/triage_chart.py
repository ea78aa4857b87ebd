"""The picture of a triage, in ink only: the channels with the gravest findings, and where these lie."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np

from wqverify.errors import ChooseAnother
from wqverify.lists.triage import Looked, Triage
from wqverify.lists.triage_findings import (
    CLAMPED,
    CONSTANT,
    DEAD,
    FLAT,
    GAP,
    NOISE,
    RATES,
    SPIKES,
    TWIN,
    Finding,
    span,
)
from wqverify.lists.triage_windows import ALL, Away
from wqverify.lists.triage_words import clock

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FORMS = ("svg", "png")
MOST = 10  # channels in one picture
_STYLE: Any = {
    "svg.hashsalt": "wqverify",
    "svg.fonttype": "path",
    "font.family": "DejaVu Sans",
    "font.size": 7.5,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "hatch.linewidth": 0.5,
    "text.parse_math": False,  # names of channels may hold a $
    "text.usetex": False,
}
_INK: dict[str, dict[str, Any]] = {  # apart without colour: black, grey, and hatches
    DEAD: {"facecolor": "black"},
    CONSTANT: {"facecolor": "black"},
    FLAT: {"facecolor": "0.55"},
    CLAMPED: {"facecolor": "white", "hatch": "////"},
    GAP: {"facecolor": "white", "hatch": "xxxx"},
    TWIN: {"facecolor": "white", "hatch": "...."},
    NOISE: {"facecolor": "white", "hatch": "----"},
}
_SHORT = {DEAD: "dead", CONSTANT: "one value", CLAMPED: "at the end", TWIN: "twins apart", NOISE: "no noise"}
_KEY = {
    DEAD: "black",
    CONSTANT: "black",
    FLAT: "grey",
    CLAMPED: "slanting lines",
    GAP: "crosses",
    TWIN: "dots",
    NOISE: "level lines",
    SPIKES: "\u25be",
    RATES: "\u25bf",
}
_MARKED = {RATES: "white", SPIKES: "black"}  # the gravest rows of each, above the trace, spikes on top
_LETTER = 0.0092  # width of a letter as a share of the picture
_FEWEST_PARTS = 60  # a finding is named where it is longer than this part of the export
_DAY = 86400
_CAPTION_WIDTH = 105  # letters
_PLACES = 600  # across a picture
_BROKEN = 3  # usual distances of the places of a trace


def chart(found: Triage, form: str) -> bytes:
    """Return the picture of a triage as SVG or PNG; the same triage gives the same bytes.

    Raises ChooseAnother for another form and for an export without a number.
    """
    if form not in FORMS:
        raise ChooseAnother(
            f"A picture is written as {' or '.join(FORMS)}, not as {form or 'a file without ending'}.",
            found=form,
            expected=" or ".join(FORMS),
        )
    drawn = _drawn(found)
    if not drawn:
        raise ChooseAnother(f"{found.file} has no channel with numbers to draw.", where=found.file)
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=(7.6, 0.9 + 1.05 * len(drawn)), layout="constrained", dpi=150)
        FigureCanvasSVG(figure) if form == "svg" else FigureCanvasAgg(figure)
        panels = figure.subplots(len(drawn), 1, sharex=True, squeeze=False)[:, 0]
        for axes, one in zip(panels, drawn, strict=True):
            _panel(axes, one, found)
        panels[-1].set_xlabel(_caption(found, drawn))
        figure.align_ylabels(panels)
        out = BytesIO()
        told = {"Date": None, "Creator": "wqverify"} if form == "svg" else {"Software": "wqverify"}
        figure.savefig(out, format=form, metadata=told)
    return out.getvalue()


def _drawn(found: Triage) -> list[Looked]:
    """The channels of the gravest findings first, in the order of the export; others where there is room."""
    ranked = list(dict.fromkeys(one.channel for one in found.findings))
    names = [*ranked, *(one.name for one in found.channels if one.name not in ranked)][:MOST]
    return [one for one in found.channels if one.name in names and one.numbers]


def _caption(found: Triage, drawn: Sequence[Looked]) -> str:
    """What the picture shows, and the key to its ink for what stands in it."""
    first, last = min(one.first for one in drawn), max(one.last for one in drawn)
    days = " to ".join(clock(second, found.zone)[:10] for second in (first, last))
    left = len(found.channels) - len(drawn)
    more = f"; {left} more channels are not drawn" if left > 1 else "; 1 more is not drawn" if left else ""
    kinds = {one.kind for one in found.findings}
    key = [
        f"{said}: {'greatest ' if kind in _MARKED else ''}{kind}"
        for kind, said in _KEY.items()
        if kind in kinds
    ]
    key += ["grey ground: window or flag"] if found.windows or found.flagged else []
    shown = f"{found.file}, {days} on the clock of {found.zone}{more}"
    return "\n".join(line for part in (shown, "; ".join(key)) for line in wrap(part, _CAPTION_WIDTH))


def _panel(axes: Axes, one: Looked, found: Triage) -> None:
    from matplotlib.ticker import MaxNLocator

    trace = one.trace
    whole = max(c.last for c in found.channels) - min(c.first for c in found.channels if c.rows)
    low, high = float(trace.low.min()), float(trace.high.max())
    if low == high:
        low, high = low - (abs(low) or 1.0) / 2, high + (abs(high) or 1.0) / 2
    room = high - low
    axes.set_ylim(low - 0.42 * room, high + 0.12 * room)
    for away in _of(one, found.windows):
        ends = away.start.timestamp() / _DAY, away.end.timestamp() / _DAY
        axes.axvspan(*ends, facecolor="0.85", edgecolor="none")
    spans = [span for flag in found.flagged if flag.channel == one.name for span in flag.spans]
    wide = max(whole // _PLACES, 1)  # so that none is too narrow to be seen
    bars = [(begin / _DAY, max(end - begin, wide) / _DAY) for begin, end in spans]
    place = axes.get_xaxis_transform()  # across the whole height
    axes.broken_barh(bars, (0, 1), facecolor="0.85", edgecolor="none", transform=place)
    x = trace.times / _DAY
    axes.vlines(x, trace.low, trace.high, color="0.25", linewidth=0.6)
    apart = np.diff(trace.times)
    gaps = np.flatnonzero(apart > _BROKEN * (np.median(apart) if len(apart) else 1)) + 1
    middle = np.insert((trace.low + trace.high) / 2, gaps, np.nan)  # no line where nothing was archived
    axes.plot(np.insert(x, gaps, x[gaps]), middle, color="0.25", linewidth=0.4)
    mine = [f for f in found.findings if f.channel == one.name]
    _bars(axes, [f for f in mine if f.kind in _INK], (low - 0.34 * room, 0.14 * room), whole)
    for rows in (f for kind in _MARKED for f in mine if f.kind == kind):
        points = [second / _DAY for second in rows.at]
        face = _MARKED[rows.kind]
        axes.plot(points, [high + 0.08 * room] * len(points), "v", color="black", mfc=face, markersize=3)
    axes.set_ylabel(f"{one.name}\n{one.unit}".rstrip(), rotation=0, ha="right", va="center")
    axes.tick_params(labelsize=6.5)
    ticks = MaxNLocator(nbins=4, steps=[1, 2, 5, 10]).tick_values(low, high)
    axes.set_yticks([tick for tick in ticks if low - 0.05 * room <= tick <= high + 0.1 * room])
    _time_axis(axes, found)


def _time_axis(axes: Axes, found: Triage) -> None:
    from matplotlib import dates

    untyped: Any = dates
    locator = untyped.AutoDateLocator(tz=found.zone)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(untyped.ConciseDateFormatter(locator, tz=found.zone, show_offset=False))


def _bars(axes: Axes, findings: Sequence[Finding], place: tuple[float, float], whole: int) -> None:
    """Where findings lie, under the trace; those long enough to carry it are named with their length."""
    bottom, height = place
    free = 0  # up to where a name stands already
    for one in sorted(findings, key=lambda f: f.first):
        begin, end = one.first / _DAY, one.last / _DAY
        top = bottom + height
        axes.fill_between([begin, end], bottom, top, edgecolor="black", linewidth=0.5, **_INK[one.kind])
        name = f"{_SHORT.get(one.kind, one.kind)} {span(one.seconds)}"
        if one.first >= free and one.seconds >= whole / _FEWEST_PARTS:
            axes.text(begin, bottom + 1.25 * height, name, fontsize=6, ha="left", va="bottom")
            free = one.first + int(len(name) * _LETTER * whole)


def _of(one: Looked, windows: Sequence[Away]) -> list[Away]:
    return [away for away in windows if away.tag in (ALL, one.name, one.tag)]
