"""wqverify run, wqverify show."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json, tell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from wqverify.acts import Performed
    from wqverify.plant.round_folder import Row
    from wqverify.terms import Record


@click.command()
@click.argument("sheets", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--check", is_flag=True, help="Compute and show only; make no record, enter nothing.")
@plant_option
@json_option
def run(sheets: tuple[Path, ...], check: bool, plant_folder: Path | None, as_json: bool) -> None:
    """Compute field sheets and rounds, make records and pages, enter them into the book.

    A SHEET is a field sheet, or the folder of a round that `wqverify round` wrote.
    """
    from wqverify.acts import check_walk, perform_walk
    from wqverify.show.terminal import summary

    plant = opened(plant_folder)
    if check:
        drafts, walk = check_walk(plant, sheets, now())
        documents = [outcome_document(record) for record in drafts]
        if as_json:
            rounds = [round_document(one.title, one.skipped) for one in walk.rounds]
            print_json({"records": documents, "rounds": rounds} if rounds else documents)
            return
        for record in drafts:
            echo(summary(record))
        for one in walk.rounds:
            _say_skipped(one.title, one.skipped)
        echo("Nothing was entered.")
        return
    walked = perform_walk(plant, sheets, now(), tell)
    documents = [outcome_document(done.record, done) for done in walked.performed]
    if as_json:
        rounds = [round_document(one.title, one.skipped, one.page) for one in walked.rounds]
        print_json({"records": documents, "rounds": rounds} if rounds else documents)
        return
    for done in walked.performed:
        echo(summary(done.record))
        if done.already:
            echo(f"This sheet was already in the book as {done.number}; nothing was entered twice.")
        echo(f"Page: {done.page}")
    for ended in walked.rounds:
        _say_skipped(ended.title, ended.skipped)
        echo(f"Chart of the round {ended.title}: {ended.page}")


def _say_skipped(title: str, skipped: Sequence[Row]) -> None:
    for row in skipped:
        echo(f"Skipped on {title}: {row.procedure} of {row.tag}, {row.skipped}")


def round_document(title: str, skipped: Sequence[Row], chart: Path | None = None) -> dict[str, Any]:
    """Return what of a round is in no record: what was skipped, and where its chart page is."""
    rows = [{"tag": row.tag, "procedure": row.procedure, "why": row.skipped} for row in skipped]
    return {"round": title, "skipped": rows, "chart": str(chart) if chart else None}


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
    from wqverify.plant.folder import ROUNDS
    from wqverify.records.canonical import to_plain
    from wqverify.show.blocks import blocks
    from wqverify.show.terminal import text

    plant = opened(plant_folder, without=(ROUNDS,))
    record, state = record_of(plant, number), book_of(plant).find(number)
    if as_json:
        print_json(to_plain(record))
    else:
        echo(f"{number}: {state.told if state is not None else 'not in the book'}\n")
        echo(text(blocks(record)))
