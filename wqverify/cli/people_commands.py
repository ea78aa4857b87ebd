"""wqverify people: the plant authority and the signing keys it issues."""

from __future__ import annotations

from pathlib import Path

import click

from wqverify.cli.common import (
    echo,
    json_option,
    key_store,
    now,
    opened,
    passphrase,
    passphrase_option,
    plant_option,
    print_json,
    say,
)

_authority_file = click.option(
    "--authority-passphrase-file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Read the plant authority's passphrase from a file instead of asking.",
)


@click.group()
def people() -> None:
    """Add, replace or withdraw the signing keys of people."""


@people.command()
@_authority_file
@plant_option
@json_option
def authority(authority_passphrase_file: Path | None, plant_folder: Path | None, as_json: bool) -> None:
    """Make the plant authority that issues everybody's keys (once per plant)."""
    from wqverify.acts import make_authority

    plant = opened(plant_folder)
    secret = passphrase(authority_passphrase_file, "the plant authority", new=True)
    make_authority(plant, key_store(), secret, now())
    sentence = (
        f"The authority of {plant.site.name} is made. Its certificate is in certificates/, its private key "
        f"in {key_store()}: keep a copy of that key offline, with two people."
    )
    say(sentence, as_json)


@people.command()
@click.argument("staff")
@click.option(
    "--years", default=10, show_default=True, type=click.IntRange(1, 20), help="How long it is good."
)
@_authority_file
@passphrase_option
@plant_option
@json_option
def add(
    staff: str,
    years: int,
    authority_passphrase_file: Path | None,
    passphrase_file: Path | None,
    plant_folder: Path | None,
    as_json: bool,
) -> None:
    """Issue a signing key for a person of people.toml."""
    _issue(staff, years, "", authority_passphrase_file, passphrase_file, plant_folder, as_json)


@people.command()
@click.argument("staff")
@click.option("--why", required=True, metavar="TEXT", help="Why the old key is withdrawn.")
@click.option(
    "--years", default=10, show_default=True, type=click.IntRange(1, 20), help="How long it is good."
)
@_authority_file
@passphrase_option
@plant_option
@json_option
def replace(
    staff: str,
    why: str,
    years: int,
    authority_passphrase_file: Path | None,
    passphrase_file: Path | None,
    plant_folder: Path | None,
    as_json: bool,
) -> None:
    """Withdraw a person's key and issue a new one."""
    _issue(staff, years, why, authority_passphrase_file, passphrase_file, plant_folder, as_json)


def _issue(
    staff: str,
    years: int,
    why: str,
    authority_file: Path | None,
    own_file: Path | None,
    plant_folder: Path | None,
    as_json: bool,
) -> None:
    from wqverify.acts import issue_key

    plant = opened(plant_folder)
    authority_secret = passphrase(authority_file, "the plant authority")
    secret = passphrase(own_file, staff, new=own_file is None)
    issue_key(plant, key_store(), staff, authority_secret, secret, now(), years=years, replaces_because=why)
    sentence = f"A signing key for {staff} is in {key_store()}; its certificate is in certificates/."
    say(sentence, as_json, id=staff)


@people.command()
@click.argument("staff")
@click.option("--why", required=True, metavar="TEXT", help="Why the key is withdrawn.")
@_authority_file
@plant_option
@json_option
def withdraw(
    staff: str,
    why: str,
    authority_passphrase_file: Path | None,
    plant_folder: Path | None,
    as_json: bool,
) -> None:
    """Withdraw a person's key: what was signed before stays good, nothing is good after."""
    from wqverify.acts import withdraw_key

    plant = opened(plant_folder)
    secret = passphrase(authority_passphrase_file, "the plant authority")
    withdraw_key(plant, key_store(), staff, secret, now(), why)
    say(f"The key of {staff} is withdrawn; the book has the reason.", as_json, id=staff)


@people.command("list")
@plant_option
@json_option
def list_people(plant_folder: Path | None, as_json: bool) -> None:
    """List who may perform and review, their licence, and how their signing key stands."""
    from wqverify.signing.authority import standing

    plant = opened(plant_folder)
    rows = [
        {
            "id": person.id,
            "name": person.name,
            "may_perform": person.may_perform,
            "may_review": person.may_review,
            "licence_until": person.licence_until,
            "key": standing(plant.folder / "certificates", person.id, now()),
        }
        for person in plant.people.values()
    ]
    if as_json:
        print_json(rows)
        return
    for row in rows:
        may = (
            " and ".join(w for w in ("perform", "review") if row[f"may_{w}"]) or "neither perform nor review"
        )
        until = f", licence until {row['licence_until']}" if row["licence_until"] else ""
        echo(f"{row['id']}  {row['name']}: may {may}{until}; key: {row['key']}")
