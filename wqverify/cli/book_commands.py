"""wqverify book."""

from __future__ import annotations

from pathlib import Path

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json, say


@click.group()
def book() -> None:
    """List, examine and anchor the record book."""


@book.command("list")
@click.option("--month", default="", metavar="YYYY-MM", help="Only work done in this month.")
@plant_option
@json_option
def list_records(month: str, plant_folder: Path | None, as_json: bool) -> None:
    """List the records with their outcome and state, and what was skipped."""
    from wqverify import audit
    from wqverify.lists.queue import skipped_in

    plant = opened(plant_folder)
    states = audit.list_records(plant, month)
    if as_json:
        print_json(
            [
                {
                    "number": s.number,
                    "tag": s.tag,
                    "procedure": s.procedure,
                    "performed": s.performed,
                    "outcomes": dict(s.outcomes),
                    "state": s.state,
                    "told": s.told,
                }
                for s in states
            ]
        )
        return
    for s in states:
        echo(f"{s.number}  {s.performed[:16]}  {s.tag}  {s.procedure}: {s.told}")
        for stage, outcome in s.outcomes.items():
            echo(f"    {stage.replace('_', ' ')}: {outcome}")
    for one in skipped_in(plant, month):
        echo(f"skipped  {one.day}  {one.tag}  {one.procedure}, round {one.round}, by {one.by}: {one.why}")


@book.command()
@click.option(
    "--pages",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Compare with the digests printed on pages that were handed out.",
)
@click.option(
    "--anchor", "anchors", multiple=True, metavar="CHAIN:SEQ:DIGEST", help="A digest kept elsewhere."
)
@plant_option
@json_option
def examine(pages: Path | None, anchors: tuple[str, ...], plant_folder: Path | None, as_json: bool) -> int:
    """Recompute every chain, compare stored bytes and files, name what is wrong or unfinished."""
    from wqverify.audit import examine_book

    findings = examine_book(opened(plant_folder), pages, anchors)
    if as_json:
        print_json([{"severity": f.severity, "text": f.text} for f in findings])
    else:
        for finding in findings:
            echo(f"{'DAMAGED: ' if finding.severity == 'damaged' else ''}{finding.text}")
    return 1 if any(f.severity == "damaged" for f in findings) else 0


@book.command()
@plant_option
@json_option
def head(plant_folder: Path | None, as_json: bool) -> None:
    """Print the newest digest of every chain: keep it outside this computer."""
    from wqverify.audit import book_of

    heads = book_of(opened(plant_folder)).heads()
    if as_json:
        print_json({chain: {"seq": seq, "digest": digest} for chain, (seq, digest) in heads.items()})
        return
    for chain, (seq, digest) in heads.items():
        echo(f"{chain}:{seq}:{digest}")


@book.command()
@click.argument("number")
@click.option("--by", required=True, metavar="ID", help="Staff id of who voids it.")
@click.option("--why", required=True, metavar="TEXT", help="Why, one sentence.")
@plant_option
@json_option
def void(number: str, by: str, why: str, plant_folder: Path | None, as_json: bool) -> None:
    """Mark a record as void; it stays readable."""
    from wqverify.acts import void as void_record

    void_record(opened(plant_folder), number, by, why, now())
    say(f"{number} is void; it stays readable.", as_json, number=number)


@book.command()
@click.argument("address")
@click.option("--app-role", "role", required=True, metavar="ROLE", help="The role the crews work under.")
@click.option("--script", is_flag=True, help="Print the statements for an administrator; do nothing.")
@json_option
def prepare(address: str, role: str, script: bool, as_json: bool) -> None:
    """Make a book on a PostgreSQL server, once, as the owner of the database ADDRESS.

    ADDRESS reads postgresql://OWNER@SERVER/DATABASE; a password never stands in it.
    """
    from wqverify.book import prepare as making

    if script:
        for statement in making.script(role):
            echo(statement)
        return
    done = making.prepare(address, role)
    say(" ".join(done), as_json, role=role)
