"""What a notebook calls: open the cases, show their blocks, hand the results back."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import Any

from wqverify.records.canonical import to_plain
from wqverify.records.notebook import CHART_TYPE, RESULT_TYPE
from wqverify.records.record import case_from, compute, draft
from wqverify.shipped import shipped_folder
from wqverify.show.blocks import Block, Heading, Statement, Title, blocks
from wqverify.show.charts import chart_svg
from wqverify.terms import Record


@dataclass(frozen=True)
class Visit:
    """One computed case as a notebook shows it."""

    record: Record
    charts: Mapping[str, bytes]

    def section(self, *headings: str) -> list[Block]:
        """Return the blocks that stand under these headings, in their own order."""
        chosen: list[Block] = []
        inside = False
        for block in blocks(self.record):
            if isinstance(block, Heading):
                inside = block.text in headings
            if inside:
                chosen.append(block)
        return chosen


def demo_case(procedure: str) -> dict[str, Any]:
    """Return the shipped demo run of a procedure as a case."""
    folder = shipped_folder("demo_runs") / procedure
    from wqverify.procedures.sheets import read_sheet

    raw, _document = read_sheet(folder / "visit.toml")
    given = json.loads((folder / "given.json").read_text("utf-8"))
    slices = {name: (folder / name).read_text("utf-8") for name in given.get("attached", {})}
    return {"procedure": procedure, "sheet": raw, "given": given, "slices": slices}


def open_cases(cases: Sequence[Mapping[str, Any]], procedure: str) -> list[Visit]:
    """Compute the cases handed to the notebook, or the shipped demo run where there are none."""
    visits = []
    for plain in cases or [demo_case(procedure)]:
        case = case_from(plain)
        result = compute(case)
        charts = {f"chart-{n}.svg": chart_svg(chart) for n, chart in enumerate(result.charts, 1)}
        visits.append(Visit(draft(case, result), charts))
    return visits


def show_title(visits: Sequence[Visit]) -> None:
    """Display what every visit is called, and whether its data are synthetic."""
    for visit in visits:
        before = takewhile(lambda block: not isinstance(block, Heading), blocks(visit.record))
        _display([block for block in before if isinstance(block, Title | Statement)])


def show(visits: Sequence[Visit], *headings: str) -> None:
    """Display these sections of every visit, one after the other."""
    for visit in visits:
        _display(visit.section(*headings))


def _display(chosen: Sequence[Block]) -> None:
    from IPython.display import HTML, display

    from wqverify.show.html import html

    display(HTML(html(chosen, {})))  # type: ignore[no-untyped-call]


def show_charts(visits: Sequence[Visit]) -> None:
    """Display the charts: the page takes these very pictures, they are never drawn again."""
    from IPython.display import display

    for number, visit in enumerate(visits):
        for name, svg in visit.charts.items():
            text = f"{visit.record.given.analyzer.tag}: {name}"
            display(  # type: ignore[no-untyped-call]
                {CHART_TYPE: svg.decode(), "text/plain": text},
                raw=True,
                metadata={"wqverify": {"case": number, "name": name}},
            )


def emit(visits: Sequence[Visit]) -> None:
    """Hand the results back; the run compares them with the computation outside the notebook."""
    from IPython.display import display

    for visit in visits:
        result = visit.record.result
        lines = [f"{visit.record.given.analyzer.tag}  {visit.record.performed}"]
        lines += [f"  {check.key}: {check.outcome}" for check in result.checks]
        display(  # type: ignore[no-untyped-call]
            {RESULT_TYPE: to_plain(result), "text/plain": "\n".join(lines)}, raw=True
        )
