"""The page of the index: its tables say what the CSV files say."""

import html.parser
import re
from pathlib import Path
from typing import Any

from wqverify.pack.script.first_facts import COUNTED, first_facts
from wqverify.pack.script.heads import WHEN_SAID, Head
from wqverify.pack.script.pairing import compare_rows
from wqverify.pack.script.reading import SHOWN, rows_of, text_of
from wqverify.pack.script.record_tables import inert
from wqverify.pack.script.said import HIDDEN, Report

STEERS = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


class Page(html.parser.HTMLParser):
    """The tables of a page, as rows of cells, and where its links lead."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tables: list[Any] = []
        self.links: list[Any] = []
        self.runs = False
        self.inside = self.link = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        """Begin a table, a row or a cell."""
        self.runs = self.runs or tag in ("script", "iframe", "object", "embed", "form")
        if tag == "table":
            self.tables.append([])
        elif tag == "tr" and self.tables:
            self.tables[-1].append([])
        elif tag in ("td", "th") and self.tables and self.tables[-1]:
            self.inside = tag
            self.tables[-1][-1].append("")
        elif tag == "br" and self.inside:
            self.tables[-1][-1][-1] += " "
        elif tag == "a":
            self.link = str(dict(attrs).get("href"))

    def handle_endtag(self, tag: str) -> None:
        """End a cell or a link."""
        self.inside = "" if tag == self.inside else self.inside
        self.link = "" if tag == "a" else self.link

    def handle_data(self, data: str) -> None:
        """Take the text of a cell."""
        if self.inside:
            self.tables[-1][-1][-1] += data
        if self.link:
            self.links.append((self.link, data))


def check_page(folder: Path, heads: "list[Head]", month: str, report: Report) -> None:
    """Compare the tables that index.html shows with those in the CSV files and with heads.txt."""
    text = text_of(folder, "index.html", report)
    if text is None:
        return
    before, page = len(report.bad), Page(text)
    for leads, said in page.links:
        if leads != said:
            report.bad.append(f"index.html: a link that says {said} leads to {leads}.")
    if page.runs:
        report.bad.append("index.html holds something that runs or fetches: no page of a pack does.")
    wrong = text.count(">WRONG:<")
    if wrong:
        count = "a thing" if wrong == 1 else f"{wrong} things"
        report.bad.append(
            f"index.html itself names {count} wrong when the pack was made: read there what it is."
        )
    tables = {table: rows_of(folder, table, report) for table in (*SHOWN, *COUNTED)}
    for table in SHOWN:
        rows = tables[table]
        if rows:
            compare_shown(table, rows, page.tables, report)
    compare_first(tables, month, page.tables, report)
    compare_heads_shown(heads, page.tables, report)
    if len(report.bad) == before:
        report.good.append(
            f"index.html holds the text of {', '.join(SHOWN)}, which are CSV files, the counts that they "
            f"give, and the heads of heads.txt. {HIDDEN}"
        )


def compare_first(tables: Any, month: str, shown: "list[Any]", report: Report) -> None:
    """Compare what stands first on the page with what the tables give."""
    if not month or any(tables[name] is None for name in COUNTED):
        return  # that was said
    try:
        wanted = first_facts(tables, month)
    except KeyError:  # a column that is missing was said
        return
    told = {line[0]: line[1] for line in (shown or [[]])[0] if len(line) == 2}
    for name, text in wanted.items():
        if as_shown(told.get(name, "")) != as_shown(text):
            report.bad.append(f'index.html: {name} says "{told.get(name, "")}", the tables give "{text}".')


def compare_heads_shown(heads: "list[Head]", shown: "list[Any]", report: Report) -> None:
    """Compare the heads that the page prints with those of heads.txt."""
    wanted = [[chain, WHEN_SAID[word], f"{chain}:{seq}:{digest}"] for word, chain, seq, digest in heads]
    found: Any = next((table[1:] for table in shown if table and table[0] == ["chain", "when", "head"]), [])
    if found != wanted and "heads.txt" not in report.unread:
        report.bad.append("index.html does not print the heads of heads.txt.")


def compare_shown(table: str, rows: "list[dict[str, str]]", shown: "list[Any]", report: Report) -> None:
    """Compare one table with all that the page shows of it."""
    heads = list(rows[0])[:-1]  # the last is the plant
    ours = [each for each in shown if each and each[0][:1] == heads[:1] and set(each[0]) <= set(heads)]
    if not any(len(each[0]) > 4 or table != "index" for each in ours):
        report.bad.append(f"index.html does not show the table of {table}.csv.")
    for head, *lines in ours:
        wanted = [[as_shown(row[name]) for name in head] for row in rows]
        found = [[as_shown(cell.replace("pages/", "", 1)) for cell in line] for line in lines]
        compare_rows("index.html", table, head, wanted, found, report)


def as_shown(cell: str) -> str:
    """Return the text of a cell as a page shows it."""
    plain = cell[1:] if cell[:1] == "'" and inert(cell[1:]) == cell else cell
    plain = STEERS.sub(lambda one: f"[U+{ord(one[0]):04X}]", plain)
    return " ".join(plain.replace("pages/", "", 1).split())
