"""Step through a visit as a person would whose answers stand on a field sheet already."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from wqverify.desk import Desk
from wqverify.entry.around import found
from wqverify.entry.changes import leaves
from wqverify.entry.screen import Act, Screen


def step_to(desk: Desk, sheet: Mapping[str, Any], most: int = 2000) -> Screen:
    """Answer until the sheet is written; returns the last screen."""
    for act in acts_to(desk, sheet, most):
        screen = desk.act(act)
        assert not screen.refused, (act, screen.notice)
    return desk.screen


def acts_to(desk: Desk, sheet: Mapping[str, Any], most: int = 2000) -> Iterator[Act]:
    """Give one act after the other, each to be done before the next is asked for."""
    for _ in range(most):
        assert desk.visit is not None
        if desk.visit.folded.state == "complete":
            return
        yield act_to(desk, sheet)
    raise AssertionError(f"still at {desk.screen.path} after {most} acts")


def act_to(desk: Desk, sheet: Mapping[str, Any]) -> Act:
    """Return the next act on the way to a sheet."""
    screen, visit = desk.screen, desk.visit
    assert visit is not None
    path = screen.path
    if screen.kind == "aside":
        return Act("answer", _aside(screen, sheet), path)
    if screen.kind == "overview":
        return Act("answer", _missing(desk, sheet).partition(".")[0], path)
    if path.startswith("usual."):
        return Act("answer", "one by one", path)
    if (hidden := _hidden(desk, sheet)) and screen.kind == "question":
        return Act("also", hidden, path)
    if screen.kind == "end":
        return Act("overview", "", path) if _missing(desk, sheet) else Act("answer", "complete", path)
    step = visit.step
    assert step is not None
    value = found(sheet, path)
    if step.group and found(sheet, f"{step.group}.not_done"):
        return Act("not done", "", path)
    if step.kind == "rows":
        return Act("answer", "yes" if len(value or []) > step.rows else "no", path)
    if step.kind == "list":
        items = value or []
        return Act("answer", items[len(screen.standing)] if len(screen.standing) < len(items) else "", path)
    if step.kind == "form":
        return Act("answer", f"same as {value['same_as']}" if "same_as" in value else "read again", path)
    if value is not None:
        return Act("answer", value, path)
    return Act("leave out", "", path)


def _aside(screen: Screen, sheet: Mapping[str, Any]) -> str:
    path, _, what = screen.path.partition("?")
    if what == "not done":
        return str(found(sheet, f"{path}.not_done"))
    if what == "sure":
        wanted = found(sheet, path)
        ways = [choice.text for choice in screen.choices if choice.text]
        return wanted if wanted in ways else ways[0]
    if what == "why":
        return "mistyped"
    if what == "also":
        return next(choice.text for choice in screen.choices if found(sheet, choice.text))
    raise AssertionError(screen)


def _missing(desk: Desk, sheet: Mapping[str, Any]) -> str:
    assert desk.visit is not None
    model: Any = desk.visit.about.procedure.Sheet
    here = {path for path, _text in leaves(model, desk.visit.folded.raw)}
    return next((path for path, _text in leaves(model, sheet) if path not in here), "")


def _hidden(desk: Desk, sheet: Mapping[str, Any]) -> str:
    """A question beside the one shown that is not asked by itself and stands on the sheet."""
    from wqverify.entry.drawn import also_here

    assert desk.visit is not None
    return next((step.path for step in also_here(desk.visit) if found(sheet, step.path)), "")
