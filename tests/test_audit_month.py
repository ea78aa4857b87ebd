"""The audit of a month as a list and as a notebook: what came out, and what would come out now."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from clean_notebook import insist_on_clean, shipped_notebook
from plant_example import bytes_of, entered, plant_in

from wqverify.errors import CorrectTheEntry
from wqverify.lists.audit_month import MonthAudit, audit_month
from wqverify.lists.audit_shown import HEADINGS, section, title
from wqverify.procedures import PROCEDURES
from wqverify.records import notebook as run
from wqverify.records.rerun import Answer
from wqverify.shipped import shipped_folder
from wqverify.show.terminal import text


def told(found: MonthAudit) -> str:
    return text((*title(found), *(block for heading in HEADINGS for block in section(found, heading))))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    plant = plant_in(tmp_path_factory.mktemp("month") / "plant")
    entered(plant, [bytes_of(plant, name) for name in ("pass", "close")], 6)
    return plant.folder


@pytest.fixture(scope="module")
def shipped() -> MonthAudit:
    return audit_month()


def test_without_a_folder_the_demo_runs_are_audited_and_labelled(shipped: MonthAudit) -> None:
    assert shipped.counted == {(name, Answer.REPRODUCED): 1 for name in PROCEDURES}
    shown = told(shipped)
    assert "Synthetic data" in shown
    assert "prove nothing" in shown
    assert "Every record would come out today as it did." in shown
    assert "No sample was asked for." in shown


def test_a_month_is_counted_and_what_would_be_decided_otherwise_is_shown(made: Path, tmp_path: Path) -> None:
    here = Path(shutil.copytree(made, tmp_path / "plant"))
    assert told(audit_month(str(here), "2026-05")).count("Every record would come out today as it did.") == 1
    register = here / "analyzers.toml"
    register.write_text(register.read_text("utf-8").replace('"0.15"', '"0.001"'), "utf-8")
    found = audit_month(str(here), "2026-05")
    assert (found.total, found.others) == (3, [])
    shown = told(found)
    assert "L1-2026-0001" in shown
    assert "tolerance control_system" in shown
    assert re.search(r"\byes\b", shown)
    assert "All 3" in shown


def test_a_month_without_work_says_so(made: Path) -> None:
    assert "No work was done in this month" in told(audit_month(str(made), "2026-09", notebooks=3))
    with pytest.raises(CorrectTheEntry, match="Name the month"):
        audit_month(str(made))


def test_what_could_not_run_is_listed(shipped: MonthAudit) -> None:
    from wqverify.records.rerun import Rerun

    lost = Rerun("L1-2026-0009", Answer.COULD_NOT, "its bytes are missing from the book")
    shipped.take({"L1-2026-0009": "tea_tasting"}, [lost])
    shown = told(shipped)
    assert "tea_tasting" in shown
    assert "could not run, because its bytes are missing from the book" in re.sub(r"\s+", " ", shown)


# ---------------------------------------------------------------- the notebook


def test_the_notebook_is_stored_clean_and_computes_nothing() -> None:
    whole = insist_on_clean(shipped_notebook("audit"), HEADINGS)
    assert re.findall(r'show\(audit, "([^"]*)"\)', whole) == list(HEADINGS)


@pytest.mark.slow
def test_the_notebook_audits_a_month_with_a_sample(made: Path) -> None:
    parameters: dict[str, Any] = {"folder": str(made), "month": "2026-05", "notebooks": 1, "seed": 3}
    executed = run._papermill(shipped_folder("notebooks") / "audit.ipynb", parameters)
    outputs = [o.get("data", {}) for c in executed.cells if c.cell_type == "code" for o in c.outputs]
    shown = json.dumps([o.get("text/html", "") for o in outputs], ensure_ascii=False)
    assert "1 of 3 records, drawn by seed 3." in shown
    assert "All 3" in shown
