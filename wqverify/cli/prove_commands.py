"""wqverify prove."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json, words

if TYPE_CHECKING:
    from wqverify.proofs.prove import ProofRun, Proven


@click.command()
@click.option("--each", is_flag=True, help="List every value with its source, also those that came out.")
@click.option("--list", "listed", is_flag=True, help="List the proofs that were kept; nothing is run.")
@plant_option
@json_option
def prove(each: bool, listed: bool, plant_folder: Path | None, as_json: bool) -> int:
    """Run published values on this computer and keep the result as a proof.

    Each run is kept as a dated file of its own in the folder proofs of the plant folder, and in the book.
    Records made later with the same program on this computer cite the newest proof. Without a plant folder
    the values are run and nothing is kept.
    """
    if listed:
        return _list(plant_folder, as_json)
    from dataclasses import asdict

    from wqverify.acts import keep_proof
    from wqverify.cli.audit_commands import plant_if_any
    from wqverify.proofs.prove import prove as run_all

    plant = plant_if_any(plant_folder)
    kept = keep_proof(plant, now()) if plant is not None else None
    run = kept.run if kept is not None else run_all(now(), "")
    where = str(kept.path) if kept is not None else None
    if as_json:
        print_json({**_document(run), "file": where, "digest": kept.digest if kept is not None else None})
        return 1 if run.failed else 0
    for value in run.values:
        if each or not value.holds:
            echo(_line(value))
    good = len(run.values) - len(run.failed)
    echo(
        f"{good} of {words(len(run.values), 'value')} of others came out "
        f"({_kinds(len(run.values), run.printed)}), by {_program(asdict(run.computer))}."
    )
    if run.failed:
        echo("Do not rely on what this computer computes before the reason is known; records will say so.")
    if kept is None:
        echo("No plant folder at hand: nothing was kept.")
    else:
        echo(f"Kept: {where} (proof {kept.place} of this program on this computer; `prove --list` lists all)")
    return 1 if run.failed else 0


def _list(plant_folder: Path | None, as_json: bool) -> int:
    from dataclasses import asdict

    from wqverify.acts import kept_proofs

    found = kept_proofs(opened(plant_folder))
    if as_json:
        print_json([asdict(one) for one in found])
        return 0
    for one in found:
        good = one.values - len(one.failed)
        echo(f"{one.at}  {one.device}  {good} of {one.values} came out ({_kinds(one.values, one.printed)})")
        echo(f"    {_program(one.computer)}")
        echo(f"    proofs/{one.file}{'' if one.there else ', not in this folder: the book keeps it'}")
        for told in one.failed:
            echo(f"    FAILED {told}")
    echo(words(len(found), "proof") if found else "No proof was kept yet; `wqverify prove` makes one.")
    return 0


def _kinds(values: int, printed: int | None) -> str:
    if printed is None:
        return "printed or computed apart, not said which"
    return f"{printed} printed in a document, {values - printed} computed apart by other means"


def _program(computer: Mapping[str, Any]) -> str:
    said = {name: str(computer.get(name, "?")) for name in ("wqverify", "code", "python", "platform")}
    return (
        f"wqverify {said['wqverify']} (code {said['code'][:12]}), Python {said['python']}, {said['platform']}"
    )


def _line(value: Proven) -> str:
    word = "holds" if value.holds else "FAILED"
    return (
        f"{value.id} {value.quantity}: {value.computed}; {value.printed} {value.kind} "
        f"({value.tolerance}): {word}. {value.source}"
    )


def _document(run: ProofRun) -> dict[str, Any]:
    from dataclasses import asdict

    return {
        "at": run.at,
        "computer": asdict(run.computer),
        "values": [asdict(value) for value in run.values],
        "failed": [value.told for value in run.failed],
    }
