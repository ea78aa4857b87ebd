"""What the notebook of a history calls: open it, show its sections and its charts."""

from __future__ import annotations

from wqverify.lists.history import History, open_history
from wqverify.lists.history_charts import control_charts, run_chart
from wqverify.lists.history_figures import label_of
from wqverify.lists.history_shown import section, shown_of, title
from wqverify.lists.plan import title_of
from wqverify.lists.review_notebook import _display, _picture

__all__ = ["open_history", "show", "show_control_charts", "show_run_charts", "show_title"]


def show_title(history: History) -> None:
    """Display what the history is of, that it is unsigned, and whether the data are synthetic."""
    _display(title(history))


def show(history: History, heading: str, key: str = "") -> None:
    """Display what stands under a heading; the notebook writes the heading itself."""
    _display(section(history, heading, key))


def show_run_charts(history: History, key: str = "") -> None:
    """Display each key in time with its tolerance, instrument by instrument; all that is judged, or one."""
    for instrument in history.instruments:
        for one in shown_of(instrument, key):
            _picture(run_chart(one), f"{label_of(one)} in time, {title_of(one.series.procedure)}")


def show_control_charts(history: History, key: str = "") -> None:
    """Display the control charts of each key that has limits."""
    for instrument in history.instruments:
        for one in shown_of(instrument, key):
            if one.charts is not None:
                _picture(
                    control_charts(one, one.charts),
                    f"control charts of {label_of(one)}, {title_of(one.series.procedure)}",
                )
