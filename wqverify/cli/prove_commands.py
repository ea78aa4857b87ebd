"""wqverify prove."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wqverify.cli.common import echo, json_option, now, plant_option, print_json, words

if TYPE_CHECKING:
    from wqverify.proofs.prove import ProofRun, Proven


@click.command()
@click.option("--each", is_flag=True, help="List every value with its source, also those that came out.")
@plant_option
@json_option
def prove(each: bool, plant_folder: Path | None, as_json: bool) -> int:
    """Run published values on this computer and keep the result as a proof.

    Records made later with the same program on this computer cite the newest proof. Without a plant folder
    the values are run and nothing is kept.
    """
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
    computer, printed = run.computer, sum(value.kind == "printed" for value in run.values)
    echo(
        f"{len(run.values) - len(run.failed)} of {words(len(run.values), 'value')} of others came out "
        f"({printed} printed in a document, {len(run.values) - printed} computed apart by other means), by "
        f"wqverify {computer.wqverify} (code {computer.code[:12]}), Python {computer.python}, "
        f"{computer.platform}."
    )
    if run.failed:
        echo("Do not rely on what this computer computes before the reason is known; records will say so.")
    echo(f"Kept: {where}" if where else "No plant folder at hand: nothing was kept.")
    return 1 if run.failed else 0


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
