"""A whole visit answered question by question: what a person who knows it would type at each screen."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from wqverify.desk import Desk
from wqverify.entry.around import found
from wqverify.entry.screen import Act, Screen

NOW = datetime(2026, 5, 10, 13, 40, tzinfo=UTC)  # 08:40 at the plant, on the day of the visit
VISIT = ("ph_calibration", "AIT-2101")


def clock() -> datetime:
    """The computer's clock of a test: it stands, so that two runs of one visit give one sheet."""
    return NOW


def answers_of(plant: Path, name: str = "fail") -> dict[str, Any]:
    """Return the answers of a visit of the demo month."""
    return tomllib.loads((plant / "field_sheets" / f"{name}.toml").read_text("utf-8"))


def stepped(desk: Desk, answers: Mapping[str, Any]) -> Iterator[tuple[Screen, Act]]:
    """Step through a visit until its sheet is written; give each screen with the act done on it."""
    while not (desk.screen.kind == "end" and desk.screen.choices[0].text == "run"):
        screen, act = desk.screen, act_on(desk.screen, answers, desk.visit.folded.raw)
        after = desk.act(act)
        assert not after.refused, (screen, act, after.notice)
        yield screen, act


def act_on(screen: Screen, answers: Mapping[str, Any], so_far: Mapping[str, Any]) -> Act:
    """Return what is done on a screen; of times after the start the proposed one is kept."""
    do, text = _done(screen, answers, so_far)
    return Act(do, text, screen.path)


def _done(screen: Screen, answers: Mapping[str, Any], so_far: Mapping[str, Any]) -> tuple[str, str]:
    path, first = screen.path, screen.choices[0].text if screen.choices else ""
    if path.endswith("?sure"):  # the clock stands, so all readings are typed at once
        return "answer", next(choice.text for choice in screen.choices if choice.text)
    if path.endswith("?not done"):
        return "answer", found(answers, f"{path.removesuffix('?not done')}.not_done")
    if screen.kind == "end":
        return "answer", first
    parts = path.split(".")
    if any(found(answers, ".".join((*parts[:n], "not_done"))) for n in range(1, len(parts))):
        return "not done", ""
    value = found(answers, path)
    if screen.form == "confirm" and isinstance(value, list):  # whether another row follows
        return "answer", "yes" if len(found(so_far, path)) < len(value) else "no"
    if "read again" in [choice.text for choice in screen.choices]:
        return "answer", "read again"
    if isinstance(value, list):
        return "answer", [*value, ""][len(screen.standing)]
    if screen.form == "time":
        began = screen.sheet[11:15]  # as the name of the sheet says; the clock has stood since
        return "answer", "" if screen.proposal else f"{began[:2]}:{began[2:]}"
    return "answer", value or ""
