"""What the notebook of an audit calls: run a month again, show its sections."""

from __future__ import annotations

from collections.abc import Sequence

from wqverify.lists.audit_month import MonthAudit, audit_month
from wqverify.lists.audit_shown import section, title
from wqverify.show.blocks import Block

__all__ = ["audit_month", "show", "show_title"]


def show_title(found: MonthAudit) -> None:
    """Display what was audited, that it is unsigned, and whether the data are synthetic."""
    _display(title(found))


def show(found: MonthAudit, heading: str) -> None:
    """Display what stands under a heading; the notebook writes the heading itself."""
    _display(section(found, heading))


def _display(blocks: Sequence[Block]) -> None:
    from IPython.display import HTML, display

    from wqverify.show.html import html

    display(HTML(html(blocks, {})))  # type: ignore[no-untyped-call]
