"""What the notebook of a yearly review calls: open it, show its sections and its charts."""

from __future__ import annotations

from collections.abc import Sequence

from wqverify.lists.review_charts import difference_chart, pairs_chart
from wqverify.lists.review_shown import section, title
from wqverify.lists.yearly_review import Review, open_review
from wqverify.show.blocks import Block

__all__ = ["open_review", "show", "show_differences", "show_pairs", "show_title"]


def show_title(review: Review) -> None:
    """Display what is reviewed, that it is unsigned, and whether the data are synthetic."""
    _display(title(review))


def show(review: Review, heading: str) -> None:
    """Display what stands under a heading; the notebook writes the heading itself."""
    _display(section(review, heading))


def show_differences(review: Review) -> None:
    """Display the chart of the differences against the level, with the limits of agreement."""
    _picture(difference_chart(review), "difference against level")


def show_pairs(review: Review) -> None:
    """Display the chart of the pairs, with the fitted lines."""
    _picture(pairs_chart(review), "pairs")


def _picture(svg: bytes, name: str) -> None:
    from IPython.display import display

    display({"image/svg+xml": svg.decode(), "text/plain": name}, raw=True)  # type: ignore[no-untyped-call]


def _display(blocks: Sequence[Block]) -> None:
    from IPython.display import HTML, display

    from wqverify.show.html import html

    display(HTML(html(blocks, {})))  # type: ignore[no-untyped-call]
