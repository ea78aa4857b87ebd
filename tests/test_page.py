"""The page: one function of the record, with its files inside, and every word of it on paper."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import asdict, replace
from functools import lru_cache
from importlib.resources import files
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from example_record import example
from fontTools.ttLib import TTFont
from pdf_text import Run, attachments, count, page_texts, runs, squeezed, words
from plant_example import plant_in, record_in
from pyhanko.pdf_utils.reader import PdfFileReader

import wqverify.show.page as page_module
from wqverify.errors import CouldNotRun
from wqverify.plant.folder import Plant
from wqverify.records.canonical import record_to_bytes
from wqverify.show.blocks import blocks
from wqverify.show.charts import chart_svg
from wqverify.show.page import make_page, signature_places, stamp_page
from wqverify.show.printable import covered, printable
from wqverify.terms import Entry, Note, Previous, Record

LEFT, RIGHT = 44.0, 568.0  # the margins of the page
NOTEBOOK = json.dumps({"cells": [{"cell_type": "markdown", "source": "\\r\\n äöü 水 \U0001f4a7"}]}).encode()
FILES = {"executed.ipynb": NOTEBOOK, "chart-1.svg": chart_svg(example().result.charts[0])}


def made(record: Record, extra: dict[str, bytes] | None = None) -> bytes:
    return make_page(record, record_to_bytes(record), {**FILES, **(extra or {})})


@lru_cache(maxsize=1)
def example_page() -> bytes:
    return made(example())


def with_words(text: str) -> Record:
    """The example with these words wherever a person may type some."""
    record = example()
    given = record.given
    entries = tuple(
        replace(e, text=text) if e.path in ("remarks", "condition.as_arrived") else e for e in record.entries
    )
    bottles = {key: replace(s, name=text, certificate=text) for key, s in given.standards.items()}
    checks = tuple(replace(c, label=text) for c in record.result.checks)
    workings = tuple(
        replace(w, label=text, formula=text, put_in=text, source=text) for w in record.result.workings
    )
    result = replace(record.result, checks=checks, workings=workings, notes=(Note("caution", text, text),))
    given = replace(
        given,
        site=replace(given.site, name=text),
        analyzer=replace(given.analyzer, location=text, kind=text),
        standards=bottles,
        people={key: replace(p, name=text, licence=text) for key, p in given.people.items()},
        changes=tuple(replace(c, what=text, was=text, why=text) for c in given.changes),
    )
    return replace(record, title=text, entries=entries, given=given, result=result, cautions=())


# ---------------------------------------------------------------- one function of the record


def test_the_file_is_a_pdf_that_says_it_is_made_as_pdf_a_3b() -> None:
    pdf = example_page()
    assert pdf.startswith(b"%PDF-1.7\n")
    assert pdf.rstrip().endswith(b"%%EOF")
    about = PdfFileReader(BytesIO(pdf)).root["/Metadata"].data.decode()
    assert "<pdfaid:part>3</pdfaid:part>" in about
    assert "<pdfaid:conformance>B</pdfaid:conformance>" in about


def test_the_same_record_gives_the_same_bytes_in_another_place(tmp_path: Path) -> None:
    """Time zone, language, folder and hash seed of the process do not matter."""
    code = (
        "import sys, hashlib; sys.path.insert(0, sys.argv[1]); from test_page import *\n"
        "print(hashlib.sha256(made(example()) + stamp_page(['a', 'b'], 200, 45)).hexdigest())"
    )
    found = {
        subprocess.run(
            [sys.executable, "-c", code, str(Path(__file__).parent)],
            env={**os.environ, "TZ": zone, "LANG": lang, "LC_ALL": lang, "PYTHONHASHSEED": seed},
            cwd=folder, capture_output=True, text=True, check=True,
        ).stdout.strip()
        for zone, lang, seed, folder in (("UTC", "C", "1", tmp_path), ("Asia/Tokyo", "C.UTF-8", "2", "/"))
    }  # fmt: skip
    assert found == {hashlib.sha256(example_page() + stamp_page(["a", "b"], 200, 45)).hexdigest()}


def test_the_date_of_the_file_is_the_time_of_entry() -> None:
    """Entered 2026-03-03 09:24:31 at -06:00, whatever the clock says when the page is made again."""
    info = PdfFileReader(BytesIO(example_page())).trailer["/Info"]
    assert str(info["/CreationDate"]).startswith("D:20260303152431")


def test_another_record_gives_another_page() -> None:
    other = replace(example(), number="L1-2026-0018")
    assert made(other) != example_page()


# ---------------------------------------------------------------- the files inside


def test_every_file_comes_out_as_it_went_in() -> None:
    """Text, notebook, picture, a binary file and one whose name is a word of the template."""
    extra = {
        "slice.csv": b"\xef\xbb\xbftime,pH\r\n08:15,7.05\r\n",
        "raw.bin": bytes(range(256)),
        "blocks": b"no",
    }
    record = example()
    found = attachments(made(record, extra))
    expected = {"record.json": record_to_bytes(record), **FILES, **extra}
    assert {name: data for name, (data, _) in found.items()} == expected


def test_the_record_is_the_source_and_all_else_a_supplement() -> None:
    kinds = {name: kind for name, (_, kind) in attachments(example_page()).items()}
    assert kinds == {"record.json": "Source", "executed.ipynb": "Supplement", "chart-1.svg": "Supplement"}


def test_a_missing_picture_is_refused_in_a_sentence() -> None:
    """The page never draws a chart itself."""
    record = example()
    with pytest.raises(CouldNotRun) as refused:
        make_page(record, record_to_bytes(record), {"executed.ipynb": NOTEBOOK})
    assert refused.value.message == (
        "The picture chart-1.svg is not among the attachments of record L1-2026-0017; the page is made from "
        "its attachments only, so nothing was made. Take them from the signed file."
    )


def test_a_picture_that_is_none_is_refused_in_a_sentence() -> None:
    with pytest.raises(CouldNotRun, match=r"^The page could not be made: failed to parse SVG .*report it\.$"):
        made(example(), {"chart-1.svg": b"no picture"})


def test_an_unknown_edition_of_the_page_is_refused_in_a_sentence() -> None:
    with pytest.raises(CouldNotRun) as refused:
        made(replace(example(), page=7))
    assert refused.value.message == (
        "This wqverify has no page template of edition 7; install the version that made the record, or a "
        "newer one."
    )


def test_a_warning_of_the_compiler_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """An unknown font is only a warning, and silently changes the page."""
    monkeypatch.setattr(
        page_module, "_template", lambda _edition: b'#set text(font: "Absent Grotesk")\nwords'
    )
    with pytest.raises(CouldNotRun) as refused:
        made(example())
    assert refused.value.message == (
        "The page could not be made as it should look: unknown font family: absent grotesk. Nothing was "
        "recorded; report it."
    )


# ---------------------------------------------------------------- what stands on paper


def texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, item in value.items():
            if key not in ("kind", "alt", "name"):
                yield from texts(item)
    elif isinstance(value, (list, tuple)):
        for item in value:
            yield from texts(item)


def on_paper(text: str) -> str:
    return squeezed(printable(text)).replace("-", "").replace("−", "")


def test_every_word_of_every_block_stands_on_the_page() -> None:
    record = example()
    paper = words(example_page()).replace("-", "").replace("−", "")
    missing = [t for block in blocks(record) for t in texts(asdict(block)) if on_paper(t) not in paper]
    assert missing == []


def test_every_page_says_which_record_it_belongs_to() -> None:
    """Plant, tag, number, page n of N, and the feet of the chain on each page."""
    pdf, digest = example_page(), hashlib.sha256(record_to_bytes(example())).hexdigest()
    pages = [squeezed(text) for text in page_texts(pdf)]
    assert len(pages) == count(pdf) > 1
    for n, text in enumerate(pages, 1):
        assert "Ellodalewaterplant·AIT-2101" in text
        assert "RecordL1-2026-0017" in text
        assert f"Page{n}of{len(pages)}" in text
        assert f"Entrybeforeinthebook:L1entry41,{'9f' * 8}…" in text
        assert f"record.jsonSHA-256{digest[:16]}…" in text


def test_the_whole_digest_of_the_record_stands_beside_the_signatures() -> None:
    """A page signed in ink is tied to its data."""
    digest = hashlib.sha256(record_to_bytes(example())).hexdigest()
    assert digest in squeezed(page_texts(example_page())[0])


def test_synthetic_data_is_called_so_on_every_page_and_only_then() -> None:
    record = example()
    real = replace(record, given=replace(record.given, site=replace(record.given.site, synthetic=False)))
    assert all("Synthetic data: an invented plant" in text for text in page_texts(example_page()))
    assert "Syntheticdata" not in words(made(real))


def test_the_record_ends_with_an_end_mark_on_its_last_page() -> None:
    pages = [squeezed(text) for text in page_texts(example_page())]
    assert ["EndofrecordL1-2026-0017" in text for text in pages] == [False] * (len(pages) - 1) + [True]


def test_the_first_entry_of_a_book_has_none_before_it() -> None:
    first = replace(example(), previous=Previous("L1", 0, ""))
    assert "Entrybeforeinthebook:none" in words(made(first))


def test_the_first_sheet_holds_verdicts_checks_standards_and_signatures() -> None:
    """And the evidence begins on the second."""
    first, second = (squeezed(text) for text in page_texts(example_page())[:2])
    for heading in (
        "Outcome",
        "Checks",
        "Standardsandinstrumentsused",
        "Performer:InesQuarrow(T-07)",
        "Reviewer:",
    ):
        assert heading in first
    assert "Observationsastyped" not in first
    assert "Observationsastyped" in second


@pytest.fixture(scope="module")
def demo_plant(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    return plant_in(tmp_path_factory.mktemp("demo") / "plant")


@pytest.mark.parametrize("name", ["pass", "fail", "close", "information", "night"])
def test_against_what_and_every_check_stand_on_the_first_sheet_of_each_visit(
    demo_plant: Plant, name: str
) -> None:
    """The limits may go on on the second; the standards and the places for signatures never do."""
    record = record_in(demo_plant, name)
    charts = {f"chart-{n}.svg": chart_svg(chart) for n, chart in enumerate(record.result.charts, 1)}
    pdf = make_page(record, record_to_bytes(record), charts)
    first, second, *_ = (squeezed(text) for text in page_texts(pdf))
    assert "Standardsandinstrumentsused" in first
    for standard in record.given.standards.values():
        assert on_paper(standard.id) in on_paper(first)
        assert on_paper(standard.lot) in on_paper(first)
        until = standard.usable_until or standard.calibration_due
        assert on_paper(until) in on_paper(first)
    assert "Performer:" in first
    assert "Outcome" in first
    for check in record.result.checks:
        assert on_paper(check.label) in on_paper(first)
    assert "Limit,byitsletter" in first + second


@pytest.mark.parametrize(
    "text",
    ["*bold* #panic() $x$", '#import "a.typ" \\ <label> @ref [x]', "= head\n- item", "~ -- '\"' /* */"],
)
def test_data_is_never_taken_for_markup(text: str) -> None:
    """It stands on paper as it was typed, sign by sign."""
    paper = words(made(with_words(text)))
    assert paper.count(squeezed(text)) > 20


def test_a_sign_the_fonts_lack_is_shown_by_its_code() -> None:
    """A sign that steers the text, as one that turns its direction, neither hides nor moves anything."""
    paper = words(made(with_words("水\u202e7.05")))
    assert "[U+6C34][U+202E]7.05" in paper


def test_the_fonts_hold_every_sign_that_is_taken_as_printable() -> None:
    folder = Path(str(files("wqverify").joinpath("show", "fonts")))
    for weight in ("Regular", "Semibold", "Bold"):
        assert covered() <= set(TTFont(folder / f"SourceSansPro-{weight}.ttf").getBestCmap())


LONG = "settled water after the second filter, tap behind the sampling panel on the gallery " * 4
WIDE = "W" * 300
WORD = "Donaudampfschifffahrtsgesellschaftskapitaen" * 6


@pytest.mark.parametrize(
    "text", ["", "short", LONG, WIDE, WORD], ids=["none", "short", "long", "wide", "one word"]
)
def test_no_text_leaves_its_place(text: str) -> None:
    """Whatever is typed wraps: nothing passes the margins, and on no line two texts run into each other."""
    found = runs(made(with_words(text)) if text else example_page())
    outside = [
        r
        for r in found
        if r.text.strip() and (r.x < LEFT - 1 or r.x + r.width > RIGHT + 1.7 or not 20 < r.y < 775)
    ]
    assert outside == []
    assert list(_collisions(found)) == []


def _collisions(found: list[Run]) -> Iterator[tuple[Run, Run]]:
    """Give pairs of texts that overlap on one base line, by more than a kerned letter."""
    lines: dict[tuple[int, float], list[Run]] = {}
    for run in found:
        if run.text.strip():
            lines.setdefault((run.page, round(run.y, 1)), []).append(run)
    for line in lines.values():
        line.sort(key=lambda run: run.x)
        for left, right in pairwise(line):
            if left.x + left.width > right.x + 1.5:
                yield left, right


def test_numbers_stand_under_one_another_at_the_decimal_point() -> None:
    """Ten observed readings: the same beginning, the point after as many places of the width of a digit."""
    record = example()
    values = {c.observed for c in record.result.checks if c.observed}
    found = [r for r in runs(example_page()) if r.page == 0 and r.text.strip("\u2007") in values]
    column = [r for r in found if abs(r.x - found[0].x) < 0.01]
    assert len(column) == sum(bool(c.observed) for c in record.result.checks)
    assert len({r.text.index(".") for r in column}) == 1
    assert {r.text[0] for r in column} == {
        "\u2007",
        "1",
    }  # 7.06 is led by the room of a digit, 10.08 by its 1
    by_length: dict[int, list[float]] = {}
    for r in column:
        by_length.setdefault(len(r.text), []).append(r.width)
    assert max(max(widths) - min(widths) for widths in by_length.values()) < 0.15


# ---------------------------------------------------------------- where it is signed


def places(record: Record) -> dict[str, page_module.Place]:
    return signature_places(record, record_to_bytes(record), FILES)


def test_both_sign_on_the_first_sheet_in_places_of_their_own() -> None:
    found = places(example())
    assert list(found) == ["Performer", "Reviewer"]
    (first, (left, low, right, high)), (second, (left_2, low_2, right_2, high_2)) = found.values()
    assert first == second == 0
    assert right < left_2
    assert (low, high) == (low_2, high_2)
    assert LEFT < left < right_2 <= RIGHT + 0.01
    assert right - left == right_2 - left_2 > 190
    assert high - low == 45


def test_nothing_is_printed_where_a_signature_goes() -> None:
    """Room for three lines: printed name, signature, date and time, whose labels stand to its left."""
    printed = [r for r in runs(example_page()) if r.page == 0 and r.text.strip()]
    for _, (left, low, right, high) in places(example()).values():
        assert [r for r in printed if low <= r.y < high and left < r.x + r.width and r.x < right] == []
        labels = [r.text for r in printed if low <= r.y < high and left - 60 < r.x < left]
        assert labels == ["Printed name", "Signature", "Date and time"]


@pytest.mark.parametrize("text", [LONG, WORD], ids=["long", "one word"])
def test_the_places_stay_on_the_first_sheet_of_a_long_record(text: str) -> None:
    record = with_words(text)
    more = tuple(Entry(f"extra.{n}", f"Extra: question {n}", text) for n in range(30))
    found = places(replace(record, entries=record.entries + more))
    assert [page for page, _ in found.values()] == [0, 0]


LINES = (
    "Ines Quarrow (T-07)",
    "I did this work; the readings are those I saw.",
    "2026-03-03 09:31, this computer's clock",
)


def test_a_stamp_is_as_large_as_its_place_and_says_its_lines() -> None:
    pdf = stamp_page(LINES, 196.0, 45.0)
    box = [float(n) for n in PdfFileReader(BytesIO(pdf)).root["/Pages"]["/Kids"][0]["/MediaBox"]]
    assert box == [0, 0, 196, 45]
    assert page_texts(pdf) == ["\n".join(LINES)]
    assert pdf == stamp_page(LINES, 196.0, 45.0)


def test_a_stamp_carries_its_fonts() -> None:
    """Nothing of it depends on the reader's fonts."""
    page = PdfFileReader(BytesIO(stamp_page(LINES, 196.0, 45.0))).root["/Pages"]["/Kids"][0]
    fonts = page["/Resources"]["/Font"]
    assert len(fonts) == 1
    for name in fonts:
        own = fonts[name]["/DescendantFonts"][0]["/FontDescriptor"]
        assert "/FontFile2" in own or "/FontFile3" in own


def test_a_long_line_of_a_stamp_is_set_smaller_not_cut() -> None:
    pdf = stamp_page(("A name as long as a line of a book " * 4, "#panic() *x*", "z"), 196.0, 45.0)
    found = runs(pdf)
    assert all(r.x >= 0 and r.x + r.width <= 196.5 for r in found)
    assert squeezed("A name as long as a line of a book " * 4 + "#panic() *x*z") == words(pdf)


def test_a_digest_can_be_searched_for_in_the_text_of_the_page() -> None:
    """Each of 64 digits stands in one piece: of the record, a notebook, a table, an attachment, the book."""
    text = "\n".join(page_texts(example_page()))
    digests = (hashlib.sha256(record_to_bytes(example())).hexdigest(), "0a" * 32, "5e" * 32, "1b" * 32)
    assert [digest for digest in (*digests, "9f" * 32) if digest not in text] == []
