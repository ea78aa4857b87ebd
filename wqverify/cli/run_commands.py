"""wqverify run, wqverify show."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json, tell

if TYPE_CHECKING:
    from wqverify.acts import Performed
    from wqverify.terms import Record


@click.command()
@click.argument("sheets", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--check", is_flag=True, help="Compute and show only; make no record, enter nothing.")
@plant_option
@json_option
def run(sheets: tuple[Path, ...], check: bool, plant_folder: Path | None, as_json: bool) -> None:
    """Compute field sheets, make their records and pages, enter them into the book."""
    from wqverify.acts import compute_only, perform
    from wqverify.show.terminal import summary

    if check:
        drafts = compute_only(opened(plant_folder), sheets, now())
        if as_json:
            print_json([outcome_document(record) for record in drafts])
            return
        for record in drafts:
            echo(summary(record))
        echo("Nothing was entered.")
        return
    performed = perform(opened(plant_folder), sheets, now(), tell)
    if as_json:
        print_json([outcome_document(done.record, done) for done in performed])
        return
    for done in performed:
        echo(summary(done.record))
        if done.already:
            echo(f"This sheet was already in the book as {done.number}; nothing was entered twice.")
        echo(f"Page: {done.page}")


def outcome_document(record: Record, done: Performed | None = None) -> dict[str, Any]:
    """Return checks and outcomes of a record, or of what would become one, as one JSON document."""
    result = record.result
    stages = dict.fromkeys((check.stage, check.place) for check in result.checks)
    return {
        "number": done.number if done else None,
        "already": done.already if done else False,
        "tag": record.given.analyzer.tag,
        "procedure": record.procedure,
        "performed": record.performed,
        "page": str(done.page) if done else None,
        "outcomes": [
            {"stage": stage, "place": place, "outcome": result.outcome(stage, place)}
            for stage, place in stages
        ],
        "checks": [
            {
                "key": check.key,
                "stage": check.stage,
                "place": check.place,
                "label": check.label,
                "outcome": check.outcome,
                "reason": check.reason,
                "observed": check.observed,
                "reference": check.reference,
                "value": check.quantity.text if check.quantity else None,
                "expanded": check.quantity.expanded if check.quantity else None,
                "unit": check.quantity.unit if check.quantity else None,
                "low": check.low,
                "high": check.high,
                "rule": check.tolerance.rule if check.tolerance else None,
                "counts": check.counts,
            }
            for check in result.checks
        ],
    }


@click.command()
@click.argument("procedure")
@json_option
def cautions(procedure: str, as_json: bool) -> None:
    """Show the cautions of a procedure, to read before the work."""
    from wqverify.errors import ChooseAnother
    from wqverify.procedures import PROCEDURES

    if procedure not in PROCEDURES:
        raise ChooseAnother(f"There is no procedure {procedure!r}; there is {', '.join(PROCEDURES)}.")
    found = PROCEDURES[procedure].cautions
    if as_json:
        print_json([{"text": caution.text, "source": caution.source} for caution in found])
        return
    for caution in found:
        echo(f"- {caution.text} ({caution.source})")
    echo("Local codes, the site's own rules and licensed practice come first.")


@click.command()
@click.argument("number")
@plant_option
@json_option
def show(number: str, plant_folder: Path | None, as_json: bool) -> None:
    """Show a record in the terminal."""
    from wqverify.acts import record_of
    from wqverify.audit import book_of
    from wqverify.records.canonical import to_plain
    from wqverify.show.blocks import blocks
    from wqverify.show.terminal import text

    plant = opened(plant_folder)
    record, state = record_of(plant, number), book_of(plant).find(number)
    if as_json:
        print_json(to_plain(record))
    else:
        echo(f"{number}: {state.told if state is not None else 'not in the book'}\n")
        echo(text(blocks(record)))
