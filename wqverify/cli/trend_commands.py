"""wqverify trend."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from wqverify.cli.common import echo, json_option, opened, plant_option, print_json

if TYPE_CHECKING:
    from wqverify.trends.options import ExportOptions


F = TypeVar("F", bound=Callable[..., Any])


def reading_options(command: F) -> F:
    """Add the options that say what an export does not tell itself."""
    for option in reversed(
        (
            click.option(
                "--time-zone", default="", metavar="ZONE", help="IANA name or fixed offset of its clock."
            ),
            click.option(
                "--day-first/--month-first", default=None, help="How dates such as 02/03/2026 are read."
            ),
            click.option("--decimal", default="", metavar="SIGN", help="Decimal mark of the numbers."),
            click.option(
                "--missing", multiple=True, metavar="TEXT", help="A text or number that marks missing."
            ),
        )
    ):
        command = option(command)
    return command


def told_over(kept: ExportOptions, told: dict[str, Any]) -> ExportOptions:
    """Return the options of an export with what was told on the command line before them."""
    return replace(kept, **{name: value for name, value in told.items() if value not in (None, "", ())})


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@plant_option
@reading_options
@click.option("--parquet", is_flag=True, help="Keep a Parquet copy beside a CSV with a row for each value.")
@json_option
def trend(
    file: Path,
    plant_folder: Path | None,
    parquet: bool,
    as_json: bool,
    **reading: Any,
) -> None:
    """Read an export of the control system or laboratory and say what is in it.

    What the file does not tell itself stands in trends/exports.toml of the plant folder named with
    --plant; the other options go before it.
    """
    from wqverify.plant.exports import options_of
    from wqverify.trends.options import ExportOptions
    from wqverify.trends.summary import summarize

    kept = options_of(opened(plant_folder), file.name) if plant_folder is not None else ExportOptions()
    options = told_over(kept, reading)
    found = summarize(file, options, parquet=parquet)
    if as_json:
        print_json(asdict(found))
        return
    for sentence in found.told:
        echo(sentence)
    echo(f"sha256 {found.digest}")
    echo(
        f"{'channel':28s} {'rows':>8s} {'numbers':>8s} {'beyond':>7s} "
        f"{'min':>10s} {'median':>10s} {'max':>10s}"
    )
    for one in found.channels:
        figures = " ".join(f"{'' if v is None else f'{v:.6g}':>10s}" for v in (one.low, one.median, one.high))
        flat = f"  flat for {one.flat} rows" if one.flat is not None and one.flat >= 10 else ""
        name = f"{one.name} [{one.unit}]" if one.unit else one.name
        echo(f"{name:28s} {one.rows:8d} {one.n:8d} {one.censored:7d} {figures}{flat}")
