"""A plant with two pH analyzers and a weekly round over them, and a technician who fills in blank sheets."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import timedelta
from pathlib import Path

from plant_example import NOW, plant_in

from wqverify import acts
from wqverify.plant.folder import Plant, open_plant
from wqverify.plant.round_folder import RoundFolder

ROUND = "weekly"
DAY = "2026-05-31"
TITLE = f"{DAY} {ROUND}"
ROUNDS = """
[[round]]
name = "weekly"

[round.head]
reason = "routine"
method = "EPA 150.2 as in Ellodale procedure EP-12 rev. 3"

[[round.stop]]
tag = "AIT-2101"
procedure = "ph_calibration"

[round.stop.usual.loop_in_manual]
not_done = "no dosing is controlled from this analyzer"

[round.stop.usual.thermometer_check]
reference = "T-17"

[[round.stop.usual.as_found.points]]
standard = "B7-4471"
interval_s = "30"

[[round.stop.usual.as_found.points]]
standard = "B10-2188"
interval_s = "30"

[[round.stop]]
tag = "AIT-2102"
procedure = "ph_calibration"

[round.stop.usual]
thermometer_check = { reference = "T-17" }
as_found.points = [
    { standard = "B7-4471", interval_s = "30" },
    { standard = "B10-2188", interval_s = "30" },
]
"""
# The buffers have pH 7.026 and 10.079 at 18.4 °C (the shipped table).
GOOD = (("7.00", "7.03", "7.03", "7.03"), ("10.02", "10.06", "10.06", "10.06"))
BAD = (("7.20", "7.23", "7.23", "7.23"), ("10.02", "10.26", "10.26", "10.26"))
SERIALS = {"AIT-2101": "EL-0417", "AIT-2102": "EL-0418"}


def plant_with_round(folder: Path) -> Plant:
    """The demo plant with a second pH analyzer of the same kind and the round ``weekly`` over both."""
    plant_in(folder)
    register = folder / "analyzers.toml"
    text = register.read_text("utf-8")
    first = text[text.index("\n[[analyzer]]\n") :].split("\n[[analyzer]]\n")[1]
    if 'tag = "AIT-2102"' not in text:
        second = first.replace("AIT-2101", "AIT-2102").replace("EL-0417", "EL-0418")
        register.write_text(f"{text}\n[[analyzer]]\n{second}", "utf-8")
    (folder / "rounds.toml").write_text(ROUNDS, "utf-8")
    return open_plant(folder)


def written(plant: Plant, folder: Path | None = None, **head: str) -> RoundFolder:
    """Write the round of the fixed day."""
    told = {"by": "T-07", "date": DAY, "started": "08:05", "told": "R. Okafor", **head}
    return acts.prepare_round(plant, ROUND, acts.HeadOf(**told), NOW + timedelta(hours=1), folder)


def type_in(path: Path, group: str, **answers: str) -> None:
    """Type answers into a group of a sheet: open ones, or ones that are commented out; never elsewhere."""
    lines, inside = path.read_text("utf-8").split("\n"), group == ""
    for n, line in enumerate(lines):
        if line.startswith("["):
            inside = line.split("]")[0].strip("[") == group
        name = line.removeprefix("# ").partition(" = ")[0]
        if inside and name in answers and re.match(r'(# )?\w+ = (""|\[\])', line):
            lines[n] = f'{name} = "{answers[name]}"'
    path.write_text("\n".join(lines), "utf-8")


def read_in(path: Path, group: str, readings: Sequence[Sequence[str]]) -> None:
    """Type the readings of the points of a stage, one point after the other."""
    lines, waiting = path.read_text("utf-8").split("\n"), [list(each) for each in readings]
    here = ""
    for n, line in enumerate(lines):
        if line.startswith("["):
            here = line.split("]")[0].strip("[")
        if here == group and line.startswith("readings = []"):
            shown = ", ".join(f'"{reading}"' for reading in waiting.pop(0))
            lines[n] = f"readings = [{shown}]"
    path.write_text("\n".join(lines), "utf-8")


def open_part(path: Path, group: str, **answers: str) -> None:
    """Answer a part whose answers are commented out; what is not answered stays so."""
    lines, inside = path.read_text("utf-8").split("\n"), False
    for n, line in enumerate(lines):
        if line.startswith("["):
            inside = line.split("]")[0].strip("[") == group
        name = line.removeprefix("# ").partition(" = ")[0]
        if inside and name in answers and line.startswith("# "):
            lines[n] = f'{name} = "{answers[name]}"'
    path.write_text("\n".join(lines), "utf-8")


def same_as_found(path: Path) -> None:
    """Say that as left is as found: nothing was touched."""
    groups = path.read_text("utf-8").split("\n\n")
    told = [
        '[as_left]\nsame_as = "as_found"' if group.startswith("[as_left]") else group
        for group in groups
        if not group.lstrip("[").startswith("as_left.")
    ]
    path.write_text("\n\n".join(told), "utf-8")


def fill_in(path: Path, tag: str, readings: Sequence[Sequence[str]] = GOOD) -> None:
    """Do what a technician does with a blank sheet of the round: everything that stands open."""
    type_in(path, "", serial_on_plate=SERIALS[tag], started="08:05")
    type_in(path, "thermometer_check", reference_c="18.4", shown_c="18.5")
    type_in(path, "as_found.points", temperature_c="18.4")
    read_in(path, "as_found.points", readings)
    open_part(path, "process_before", ph="7.61", control_system="7.60", temperature_c="12.0", at="08:12")
    same_as_found(path)
    type_in(path, "status", state="in service")


def read_after_all(path: Path) -> None:
    """Type the readings of a stop that was skipped first."""
    read_in(path, "as_found.points", GOOD)


def walked(plant: Plant, what: Mapping[str, Sequence[Sequence[str]]] | None = None) -> RoundFolder:
    """Write the round, fill in its sheets, answer the cautions once for all of them."""
    made = written(plant)
    for row in made.rows:
        fill_in(row.path, row.tag, (what or {}).get(row.tag, GOOD))
    type_in(made.folder / "round.toml", "head.cautions", read="yes")
    return made


def skip(made: RoundFolder, tag: str, why: str) -> None:
    """Say in its row why a stop was skipped; its sheet holds no reading then."""
    sheet = next(row.path for row in made.rows if row.tag == tag)
    if sheet.is_file():
        text = sheet.read_text("utf-8")
        sheet.write_text(re.sub(r"(?m)^readings = \[.*\]", "readings = []", text), "utf-8")
    path = made.folder / "round.toml"
    head, row = path.read_text("utf-8").split(f'tag = "{tag}"', 1)
    row = row.replace('# skipped = "because ..."', f'skipped = "{why}"', 1)
    path.write_text(f'{head}tag = "{tag}"{row}', "utf-8")
