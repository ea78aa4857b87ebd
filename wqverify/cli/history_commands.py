"""wqverify history."""

from __future__ import annotations

import csv
import io
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wqverify.cli.common import echo, json_option, opened, plant_option, print_json, tell

if TYPE_CHECKING:
    from wqverify.lists.history import Figures, History

COLUMNS = (
    "tag",
    "serial",
    "procedure",
    "key",
    "label",
    "record",
    "performed",
    "value",
    "unit",
    "expanded_uncertainty",
    "low",
    "high",
    "outcome",
    "as_left",
    "adjusted",
    "usable",
)


@click.command()
@click.argument("tag")
@click.option("--procedure", default="", metavar="NAME", help="Only the records of one procedure.")
@click.option("--key", default="", metavar="KEY", help="Only one key, as the table of all keys names it.")
@click.option(
    "--all",
    "everything",
    is_flag=True,
    help="Show the whole: every key, value, chart limit, risk and method.",
)
@click.option("--target", type=float, metavar="SHARE", help="Share to be found in tolerance, such as 0.95.")
@click.option("--method", metavar="NAME", help="Method that gives the advice on the interval.")
@click.option(
    "--charts",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Write the charts into a folder as SVG files.",
)
@click.option("--csv", "as_csv", is_flag=True, help="Print every value as CSV instead of text.")
@plant_option
@json_option
def history(
    tag: str,
    procedure: str,
    key: str,
    everything: bool,
    target: float | None,
    method: str | None,
    charts: Path | None,
    as_csv: bool,
    plant_folder: Path | None,
    as_json: bool,
) -> None:
    """Show the history of a tag: errors, drift, control charts, advice on its interval.

    The newest on half a page, with --all the whole. By tag and serial: an exchanged instrument begins series
    of its own. The advice changes no plan. Charts are written with --charts; notebooks/history.ipynb shows
    the whole.
    """
    from wqverify.lists.history import history as history_of

    told: dict[str, Any] = {"target": target} if target is not None else {}
    told |= {"method": method} if method else {}
    found = history_of(opened(plant_folder), tag, procedure, told)
    _insist_on_key(found, key)
    if charts is not None:
        _write_charts(found, key, charts)
    if as_csv:
        echo(csv_of(found, key).rstrip())
    elif as_json:
        print_json(document(found, key))
    else:
        from wqverify.lists.history_brief import brief
        from wqverify.lists.history_shown import HEADINGS, section, title
        from wqverify.show.blocks import Heading
        from wqverify.show.terminal import text

        blocks = brief(found)
        if everything or key:
            blocks = title(found)
            for heading in HEADINGS:
                blocks += [Heading(heading), *section(found, heading, key, everything=everything)]
        echo(text(blocks, min(120, shutil.get_terminal_size().columns)).rstrip())


def _insist_on_key(found: History, key: str) -> None:
    from wqverify.errors import ChooseAnother

    known = list(dict.fromkeys(one.series.key for i in found.instruments for one in i.figures))
    if key and key not in known:
        raise ChooseAnother(
            f"There is no key {key[:60]!r} in the history of {found.tag}; there is {', '.join(known)}.",
            found=key,
            expected=", ".join(known),
        )


def _write_charts(found: History, key: str, folder: Path) -> None:
    from wqverify.durable import make_folder, write_durably
    from wqverify.lists.history_charts import control_charts, run_chart
    from wqverify.lists.history_shown import shown_of

    make_folder(folder)
    for instrument in found.instruments:
        for one in shown_of(instrument, key):
            name = re.sub(
                r"[^A-Za-z0-9.-]+",
                "_",
                f"{found.tag} {one.series.serial} {one.series.procedure} {one.series.key}",
            )
            write_durably(folder / f"{name}.svg", run_chart(one))
            if one.charts is not None:
                write_durably(folder / f"{name}_control.svg", control_charts(one, one.charts))
            tell(f"wrote the charts of {one.series.key}")


# ---------------------------------------------------------------- as data


def csv_of(found: History, key: str = "") -> str:
    """Return every value as CSV, or those of one key."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for figures in _chosen(found, key):
        series = figures.series
        for point in series.points:
            writer.writerow(
                [
                    found.tag,
                    series.serial,
                    series.procedure,
                    series.key,
                    series.label,
                    point.number,
                    point.performed,
                    point.text,
                    series.unit,
                    point.expanded,
                    point.low,
                    point.high,
                    point.outcome,
                    "" if point.left is None else repr(point.left),
                    "yes" if point.adjusted else "no",
                    "yes" if point.value is not None else "no",
                ]
            )
    return out.getvalue()


def document(found: History, key: str = "") -> dict[str, Any]:
    """Return the history as one JSON document."""
    from wqverify.lists.history_shown import headline

    return {
        "tag": found.tag,
        "measures": found.measures,
        "unit": found.unit,
        "synthetic": found.synthetic,
        "signed": False,
        "instruments": [
            {
                "serial": one.serial,
                "records": [kept.number for kept in one.records],
                "adjusted": [kept.number for kept in one.adjusted],
                "series": [_series(f) for f in one.figures if key in ("", f.series.key)],
                "advice": {
                    procedure: {
                        "interval_days": advice.current,
                        "interval_from": advice.current_from,
                        "checks": advice.checks,
                        "in_tolerance": advice.passed,
                        "left_out": advice.left_out,
                        "undecided": advice.undecided,
                        "share_95": advice.observed,
                        "target": advice.choices.target,
                        "method": advice.choices.method,
                        "advice": headline(advice),
                        "methods": [
                            {
                                "method": each.method,
                                "days": each.days,
                                "from": each.low,
                                "to": each.high,
                                "capped": each.capped,
                                "told": each.told,
                                "source": each.source,
                            }
                            for each in advice.suggested
                        ],
                        "notes": list(advice.notes),
                    }
                    for procedure, advice in one.advice.items()
                },
            }
            for one in found.instruments
        ],
    }


def _chosen(found: History, key: str) -> list[Figures]:
    return [one for i in found.instruments for one in i.figures if key in ("", one.series.key)]


def _series(figures: Figures) -> dict[str, Any]:
    series, drift = figures.series, figures.drift
    limits = figures.charts.individuals if figures.charts is not None else None
    return {
        "procedure": series.procedure,
        "key": series.key,
        "label": series.label,
        "unit": series.unit,
        "points": [
            {
                "record": point.number,
                "performed": point.performed,
                "value": point.text,
                "usable": point.value is not None,
                "expanded": point.expanded,
                "outcome": point.outcome or None,
                "low": point.low,
                "high": point.high,
                "as_left": point.left,
                "adjusted": point.adjusted,
                "signal": place in figures.signals,
            }
            for place, point in enumerate(series.points)
        ],
        "limits": None
        if limits is None
        else {
            "mean": limits.mean,
            "low": limits.low,
            "high": limits.high,
            "range_high": limits.range_high,
            "sigma": limits.sigma,
        },
        "drift_per_day": None
        if drift is None
        else {
            "value": drift.coefficients[0],
            "u": drift.s * drift.inverse[0][0] ** 0.5,
            "dof": drift.dof,
            "scatter": drift.s,
            "longest_days": drift.longest,
        },
        "not_computed": dict(figures.refused),
    }
