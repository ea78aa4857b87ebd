"""HTML for the notebook: nothing of the data is markup, outcomes are words, charts are pictures."""

from __future__ import annotations

from base64 import b64decode
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from example_record import example

from wqverify.show.blocks import blocks
from wqverify.show.charts import chart_svg
from wqverify.show.html import html
from wqverify.show.kinds import (
    CautionBlock,
    ChartBlock,
    Column,
    Facts,
    Formula,
    Heading,
    Row,
    SignaturePlace,
    Signatures,
    Statement,
    Table,
    Title,
    Verdict,
    Verdicts,
)
from wqverify.terms import Outcome

NASTY = '<script>alert("1")</script> & \'<img src=x onerror=y>'
KNOWN = {
    *("style", "div", "h1", "h2", "p", "br", "hr", "span", "strong", "img"),
    *("table", "thead", "tbody", "tr", "th", "td"),
}


class Seen(HTMLParser):
    """Collects tags, attributes, text, and whether every tag that opens is closed in turn."""

    def __init__(self, source: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: set[str] = set()
        self.words = ""
        self._open: list[str] = []
        self.feed(source)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes |= {name for name, _ in attrs}
        if tag not in ("br", "hr", "img"):
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self._open[-1] != "style":
            self.words += data


def test_a_whole_record_is_well_formed_and_uses_a_few_harmless_tags() -> None:
    seen = Seen(html(blocks(example()), {}))
    assert set(seen.tags) <= KNOWN
    assert seen.attributes <= {"class", "colspan", "style", "src", "alt"}


@pytest.mark.parametrize(
    "block",
    [
        Title(NASTY, NASTY),
        Heading(NASTY),
        Facts(((NASTY, NASTY),), NASTY),
        Verdicts((Verdict(NASTY, NASTY, NASTY),)),
        Table((Column(NASTY),), (Row((NASTY,), "group"), Row((NASTY,)), Row((NASTY,), "note")), NASTY),
        Table((Column(NASTY, "outcome"), Column(NASTY, "number")), (Row((NASTY, NASTY)),)),
        Formula(NASTY, NASTY, NASTY, NASTY, NASTY),
        Statement(NASTY, NASTY, NASTY),
        CautionBlock(NASTY, NASTY),
        ChartBlock(NASTY, NASTY),
        Signatures((SignaturePlace(NASTY, NASTY, NASTY),), NASTY),
    ],
    ids=lambda block: type(block).__name__,
)
def test_data_is_shown_and_never_becomes_markup(block: Statement) -> None:
    seen = Seen(html([block], {}))
    assert "script" not in seen.tags
    assert NASTY in seen.words


def test_a_chart_is_a_picture_with_its_words() -> None:
    """A picture runs nothing, and two of them share no id."""
    record = example()
    svg = chart_svg(record.result.charts[0])
    shown = html([ChartBlock("chart-1.svg", f"errors {NASTY}")], {"chart-1.svg": svg})
    seen = Seen(shown)
    assert seen.tags.count("img") == 1
    assert "svg" not in seen.tags
    data = shown.split("base64,")[1].split('"')[0]
    assert b64decode(data) == svg
    assert "onerror" not in seen.attributes


def test_a_chart_that_is_not_at_hand_is_said_in_words() -> None:
    record = example()
    seen = Seen(html(blocks(record), {}))
    assert "img" not in seen.tags
    assert record.result.charts[0].title in seen.words


@pytest.mark.parametrize("outcome", list(Outcome))
def test_an_outcome_is_a_word_and_only_a_pass_is_set_lightly(outcome: Outcome) -> None:
    shown = html([Verdicts((Verdict("As found", str(outcome)),))], {})
    assert str(outcome) in Seen(shown).words
    assert ("<strong" in shown) == (outcome is not Outcome.PASS)


def test_no_outcome_is_told_by_colour() -> None:
    style = html([], {}).partition("</style>")[0]
    assert "color:inherit" in style
    assert not [
        part for part in style.replace("background:#fff", "").split(";") if "#" in part or "rgb" in part
    ]


def test_numbers_stand_under_one_another_by_figure_spaces() -> None:
    table = Table((Column("U", "number"),), (Row(("0.5",)), Row(("+12.25",)), Row(("-7",))))
    cells = [cell.split("</td>")[0] for cell in html([table], {}).split('class="n">')[1:]]
    assert [cell.index(".") for cell in cells[:2]] == [3, 3]
    assert len({len(cell) for cell in cells}) == 1
    assert " " not in "".join(cells), "a plain space would collapse"


def test_lines_of_a_remark_stay_lines() -> None:
    assert "one<br>two" in html([Statement("one\ntwo")], {})


def test_the_notebook_shows_the_words_of_the_record() -> None:
    record = replace(example(), title="pH <b>calibration</b>")
    words = Seen(html(blocks(record), {})).words
    for text in ("pH <b>calibration</b>", "too close to decide", "Ines Quarrow (T-07)", "Kept for 10 years"):
        assert text in words


def test_nothing_is_loaded_from_elsewhere_and_nothing_can_run() -> None:
    shown = html(blocks(example()), {"chart-1.svg": b"<svg/>"})
    for way in ("http:", "https:", "url(", "@import", "<link", "<script", "<form", "javascript:"):
        assert way not in shown


def test_the_same_text_every_time() -> None:
    assert html(blocks(example()), {}) == html(blocks(example()), {})
