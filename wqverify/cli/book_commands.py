"""wqverify book."""

from __future__ import annotations

from pathlib import Path

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json, say, tell


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


@book.command("take-in")
@click.argument("other", required=False)
@click.option("--by", default="", metavar="ID", help="Staff id of who takes it in.")
@plant_option
@json_option
def take_in(other: str | None, by: str, plant_folder: Path | None, as_json: bool) -> int:
    """Take in the book of another computer: its plant folder, the file of its book, or a bundle.

    Without OTHER: list who took in what and when.
    """
    from wqverify import acts

    plant = opened(plant_folder)
    if other is None:
        lines = acts.taken_in(plant)
        if as_json:
            print_json(lines)
        for line in [] if as_json else lines or ["Nothing was taken in."]:
            echo(line)
        return 0
    done = acts.take_in(plant, other, now(), by, tell)
    if as_json:
        chains = [
            {"chain": c.chain, "had": c.had, "head": c.head, "digest": c.digest, "records": c.performed}
            for c in done.chains
        ]
        print_json({"chains": chains, "pages": done.pages, "told": done.told, "wrong": done.wrong})
    else:
        for line in done.told:
            echo(line)
        for line in done.wrong:
            echo(f"NOT TAKEN: {line}")
    return 1 if done.wrong else 0


@book.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@plant_option
@json_option
def export(file: Path, plant_folder: Path | None, as_json: bool) -> None:
    """Write the book with its pages and certificates as one bundle to carry to another computer."""
    from wqverify.acts import export as export_bundle

    entries = export_bundle(opened(plant_folder), file)
    count = "1 entry" if entries == 1 else f"{entries} entries"
    say(f"{count} of the book with pages and certificates are in {file}.", as_json, entries=entries)
