"""wqverify new, wqverify plant."""

from __future__ import annotations

from pathlib import Path

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json, say, words


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@json_option
def new(folder: Path, as_json: bool) -> None:
    """Make a small, commented plant folder."""
    from wqverify.plant.new import new_plant

    new_plant(folder)
    sentence = f"{folder}: a plant folder to start from. Edit its files; `wqverify plant check` reads them."
    say(sentence, as_json, folder=str(folder))


@click.group()
def plant() -> None:
    """Check the plant folder, or accept what changed in it."""


@plant.command()
@plant_option
@json_option
def check(plant_folder: Path | None, as_json: bool) -> None:
    """Read all files of the plant folder, say what they hold and what waits for an explanation."""
    from wqverify.acts import unexplained
    from wqverify.gather import insist_on_settings
    from wqverify.lists.doubts import doubts
    from wqverify.plant.folder import expected_shares
    from wqverify.procedures.usual import insist_on_rounds

    found = opened(plant_folder)
    insist_on_settings(found)
    insist_on_rounds(found)
    today = now().astimezone(found.zone).date()
    changes, doubtful = unexplained(found), doubts(found, today)
    shares = expected_shares(found)
    if as_json:
        print_json(
            {
                "plant": found.site.name,
                "analyzers": sorted(found.analyzers),
                "unexplained": [
                    dict(zip(("about", "what", "was", "now"), row, strict=True)) for row in changes
                ],
                "shares": list(shares),
                "doubts": doubtful,
            }
        )
        return
    echo(
        f"{found.site.name}: {words(len(found.analyzers), 'analyzer')}, "
        f"{words(len(found.standards), 'standard')} on hand, {len(found.people)} people; "
        f"device {found.device}."
    )
    for line in shares:
        echo(f"  {line}")
    for line in doubtful:
        echo(f"  {line}")
    for _about, what, was, became in changes:
        echo(f"  changed, not yet explained: {what}: {was or 'absent'} -> {became or 'absent'}")


@plant.command()
@click.option("--by", required=True, metavar="ID", help="Staff id of who accepts the change.")
@click.option("--why", required=True, metavar="TEXT", help="Why it changed, one sentence.")
@plant_option
@json_option
def accept(by: str, why: str, plant_folder: Path | None, as_json: bool) -> None:
    """Enter what changed in register, tolerances, standards and people into the book."""
    from wqverify.acts import accept as accept_changes

    changes = accept_changes(opened(plant_folder), by, why, now())
    if as_json:
        print_json([dict(zip(("about", "what", "was", "now"), row, strict=True)) for row in changes])
        return
    for _about, what, was, became in changes:
        echo(f"{what}: {was or 'absent'} -> {became or 'absent'}")
    echo(f"{words(len(changes), 'change')} entered." if changes else "Nothing changed since the last entry.")
