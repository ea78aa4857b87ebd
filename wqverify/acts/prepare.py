"""Write the folder of a round: round.toml and a blank field sheet for each stop.

Sheets are written before round.toml, each the same bytes for the same command: what a kill left unfinished is
finished by the same command, and nothing that was typed is ever overwritten.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from textwrap import wrap
from typing import Any

from wqverify.acts.shared import local_time, person_of, typed
from wqverify.durable import write_durably
from wqverify.errors import ChooseAnother
from wqverify.plant.clock import day, resolve
from wqverify.plant.fields import Notes, Text
from wqverify.plant.files import shortened
from wqverify.plant.folder import Plant
from wqverify.plant.round_folder import FILE, RoundFolder, Row, read_round
from wqverify.plant.rounds import Round, Stop
from wqverify.procedures import PROCEDURES
from wqverify.procedures.blank import blank_sheet, shared_head
from wqverify.procedures.usual import insist_on_rounds, round_named
from wqverify.terms import Raw

SHARED = ("reason", "performed_by", "date", "cautions", "operations_told")


@dataclass(frozen=True)
class HeadOf:
    """What the command line says of a round: who walks it, when its first stop begins, who is told."""

    by: str
    date: str = ""
    started: str = ""
    told: str = ""


def prepare_round(
    plant: Plant, name: str, head_of: HeadOf, now: datetime, folder: Path | None = None
) -> RoundFolder:
    """Write the folder of a round: round.toml and one blank sheet per stop, in walking order.

    Raises ChooseAnother for a round or person there is not, and where the folder holds anything else than
    these very files.
    """
    insist_on_rounds(plant)
    one = round_named(plant, name)
    person = person_of(plant, head_of.by)
    if not person.may_perform:
        raise ChooseAnother(f"{person.name} ({person.id}) may not perform (may_perform in people.toml).")
    date = day(head_of.date or local_time(plant, now)[:10]).isoformat()
    if head_of.started:
        resolve(date, head_of.started, plant.zone)  # refuses a time that there is not
    head = _merged(one.head, _of_the_command(head_of, date))
    first = _merged(head, {"started": head_of.started} if head_of.started else {})
    folder = folder or plant.folder / "field_sheets" / f"{date} {name}"
    files = {
        _sheet_name(number, stop): _sheet(plant, one, date, number, first if number == 1 else head)
        for number, stop in enumerate(one.stops, 1)
    }
    _refuse_other_content(folder, files)
    for file, text in files.items():
        write_durably(folder / file, text.encode())
    write_durably(folder / FILE, _round_file(one, date, head).encode())
    return read_round(folder)


def _of_the_command(head_of: HeadOf, date: str) -> Raw:
    said: Raw = {"performed_by": head_of.by, "date": date}
    if head_of.told:
        said["operations_told"] = {"who": typed(Text, "the answer of --told", head_of.told)}
    return said


def _merged(first: Mapping[str, Any], second: Mapping[str, Any]) -> Raw:
    """Return both answers together, group by group; the second counts."""
    merged = dict(first)
    for name, value in second.items():
        inner: Any = merged.get(name)
        both = isinstance(inner, dict) and isinstance(value, dict)
        same_form = both and ("not_done" in inner) == ("not_done" in value)
        merged[name] = _merged(inner, value) if same_form else value
    return merged


def _sheet_name(number: int, stop: Stop) -> str:
    return f"{number} {stop.tag}.toml"


def _sheet(plant: Plant, one: Round, date: str, number: int, head: Raw) -> str:
    stop = one.stops[number - 1]
    procedure, analyzer = PROCEDURES[stop.procedure], plant.analyzers[stop.tag]
    answers = _merged(_merged(head, stop.usual), {"procedure": stop.procedure, "tag": stop.tag})
    cautions = "".join(_comment(f"Caution: {caution.text}") for caution in procedure.cautions)
    return _SHEET_TOP.format(
        title=procedure.title,
        tag=stop.tag,
        number=number,
        count=len(one.stops),
        round=one.name,
        date=date,
        location=analyzer.location,
        cautions=cautions,
    ) + blank_sheet(procedure.Sheet, answers, analyzer.unit)


def _comment(text: str) -> str:
    lines = wrap(text, 108, initial_indent="# ", subsequent_indent="#   ", break_on_hyphens=False)
    return "\n".join(lines) + "\n"


def _round_file(one: Round, date: str, head: Raw) -> str:
    procedures = list(dict.fromkeys(stop.procedure for stop in one.stops))
    text = _ROUND_TOP.format(
        round=one.name,
        date=date,
        cautions="".join(_comment(f"Read before the work: wqverify cautions {name}") for name in procedures),
        name=shortened(one.name).replace("'", '"'),
    )
    text += shared_head(PROCEDURES[procedures[0]].Sheet, head, {*SHARED, *head}, "head")
    for number, stop in enumerate(one.stops, 1):
        sheet = _sheet_name(number, stop)
        text += _ROW.format(tag=stop.tag, procedure=stop.procedure, sheet=sheet)
    return text


def _refuse_other_content(folder: Path, files: Mapping[str, str]) -> None:
    """Raise ChooseAnother unless the folder is empty, or holds what a stopped command left of these files."""
    if folder.exists() and not folder.is_dir():
        raise ChooseAnother(f"{folder} is a file; name another folder with --folder.", found=str(folder))
    there = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
    for name in there:
        part = name.removesuffix(".part") if name.endswith(".part") else ""
        if part in files or part == FILE:
            continue
        if name not in files or (folder / name).read_bytes() != files[name].encode():
            what = "the round is there already" if FILE in there else f"it holds {shortened(name)}"
            raise ChooseAnother(
                f"{folder}: {what}; nothing was written, as nothing is ever overwritten. Name another folder "
                f"with --folder, or another day with --date.",
                found=name,
                expected="an empty folder",
                where=str(folder),
            )


def skip_stop(one: RoundFolder, row: Row, why: str) -> None:
    """Write into round.toml why nothing was done at a stop; raises CorrectTheEntry for no reason."""
    reason = typed(Notes, "the reason", why)
    line = one.document.line(("stop", one.rows.index(row), "sheet"))
    lines = one.document.text.split("\n")
    lines.insert(line, f"skipped = {json.dumps(reason, ensure_ascii=False)}")
    write_durably(one.folder / FILE, "\n".join(lines).encode())


# ---------------------------------------------------------------- texts


_SHEET_TOP = """\
# Field sheet, {title} of {tag}, {location}.
# Stop {number} of {count} of the round {round} of {date}.
#
# Type what stands open, "" or [], each value in double quotes as it was read: "7.10" keeps its last zero.
# A line that begins with "# " need not be answered; take the "# " away to answer it. A part that was not
# done says why: not_done = "..." in the place of its answers. What was typed before is not overwritten.
#
{cautions}
"""

_ROUND_TOP = """\
# The round {round} of {date}.
# One field sheet lies beside this file for each stop below, in walking order.
#
# The head was written into every sheet when this folder was made. What stands on a sheet counts for that
# sheet. What is still open, "", on a sheet is taken from here when the round is run, so that an answer that
# is the same everywhere, such as the cautions, is typed here once. An answer that is changed here later does
# not reach the sheets it was written into: change it there as well; wqverify run says where a sheet differs.
{cautions}# A stop where nothing was done says why, in its row: skipped = "because ...". The book keeps that.

round = {name}
date = "{date}"

"""

_ROW = """
[[stop]]
tag = "{tag}"
procedure = "{procedure}"
sheet = "{sheet}"
# skipped = "because ..."
"""
