"""The audit pack: what is in it, the same bytes every time, nothing left out silently, nothing "
"overwritten."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path
from urllib.parse import unquote
from zipfile import ZipFile
from zoneinfo import ZoneInfo

import pytest
import short_records
from openpyxl import load_workbook
from pack_example import BECAUSE, FIRST, LATE, MADE, MONTH, NEXT, SECOND, pack_of, table
from plant_example import plant_in

from wqverify import acts
from wqverify.book import GENESIS, Entry, RecordState, open_book
from wqverify.cli import main
from wqverify.errors import ChooseAnother, CorrectTheEntry, CouldNotRun, RepairTheFolder
from wqverify.pack import Made, make_pack
from wqverify.pack.gathered import about_the_month
from wqverify.pack.month import Walked
from wqverify.pack.names import safe
from wqverify.pack.of_record import _late, _signature
from wqverify.pack.spreadsheet import csv_text, inert, workbook
from wqverify.pack.tables import Head, Sheet
from wqverify.plant.folder import Plant, open_plant

pytestmark = pytest.mark.slow
PAGES = ("index.html", "check_by_hand.html")


@pytest.fixture(scope="module")
def made(packed_month: Path) -> Path:
    """A plant with its month, and the pack of it."""
    return packed_month


@pytest.fixture(scope="module")
def pack(made: Path) -> Path:
    return made / "pack"


@pytest.fixture
def here(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made / "plant", tmp_path / "here" / "plant"))


def files_of(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()
    }


def row_of(folder: Path, name: str, **wanted: str) -> dict[str, str]:
    (found,) = [row for row in table(folder, name) if wanted.items() <= row.items()]
    return found


# ---------------------------------------------------------------- what is in it


def test_the_pdfs_go_in_as_they_are(made: Path, pack: Path) -> None:
    for number in (FIRST, SECOND):
        kept = (made / "plant" / "book" / "pages" / f"{number}.pdf").read_bytes()
        assert (pack / "pages" / f"{number}.pdf").read_bytes() == kept
        row = row_of(pack, "index", record=number)
        assert row["SHA-256 of the PDF"] == hashlib.sha256(kept).hexdigest()
        assert (row["PDF"], row["PDF against the book"]) == (f"{number}.pdf", "as in the book")


def test_the_index_tells_each_record(pack: Path) -> None:
    row = row_of(pack, "index", record=SECOND)
    assert (row["analyzer"], row["serial"], row["procedure"]) == (
        "AIT-2102",
        "EL-0418",
        "ph_calibration",
    )
    assert (row["as found"], row["as left"]) == ("fail", "fail")
    assert row["performed"] == "2026-05-31 08:05 -05:00"
    assert row["performed by"] == "Ines Quarrow (T-07)"
    assert row["state"] == "returned with a question"
    assert row["signed"].startswith("Ines Quarrow (T-07), 2026-06-04")
    assert row["countersigned"] == "\u2014"
    first = row_of(pack, "index", record=FIRST)
    assert (first["as found"], first["state"]) == ("pass", "countersigned")
    assert first["countersigned"].startswith("Odell Marsh (S-02), 2026-06-04")
    assert first["control system"] == "as found: pass"


def test_the_page_counts_failures_here_and_at_the_far_end(pack: Path) -> None:
    assert "1 at the analyzer, 1 at the control system" in (pack / "index.html").read_text("utf-8")
    far = [row["control system"] for row in table(pack, "index")]
    assert sum("as found: fail" in said for said in far) == 1
    assert "2 records of the month<" in (pack / "index.html").read_text("utf-8")


def test_readings_stand_as_they_were_typed(pack: Path) -> None:
    found = [row for row in table(pack, "readings") if row["record"] == SECOND]
    shown = [row for row in found if row["path"].startswith("as_found.points.0.readings.")]
    assert [row["value as typed"] for row in shown] == ["7.20", "7.23", "7.23", "7.23"]
    assert {row["unit"] for row in shown} == {"pH"}
    assert shown[0]["label"] == "As found, point 1: pH readings, 1 of 4"
    process = row_of(pack, "readings", record=SECOND, path="process_before.ph")
    assert process["value as typed"] == "7.61"
    assert process["time of its part"] == "2026-05-31T08:12-05:00"
    assert row_of(pack, "readings", record=SECOND, path="started")["resolved"] == "2026-05-31T08:05-05:00"


def test_checks_stand_with_their_bounds(pack: Path) -> None:
    row = row_of(
        pack, "checks", record=SECOND, check="Error in pH 7.00 ready-made (B7-4471)", stage="as found"
    )
    assert (row["observed"], row["low"], row["high"], row["rule"], row["outcome"]) == (
        "7.23",
        "-0.10",
        "0.10",
        "guarded",
        "fail",
    )


def test_what_was_due_done_and_skipped_stands_with_its_reason(pack: Path) -> None:
    done = row_of(pack, "plan", record=FIRST)
    assert (done["how often"], done["done on"]) == ("every 14 d", "2026-05-31")
    assert row_of(pack, "skipped", analyzer="AIT-2101")["because"] == BECAUSE
    assert any(row["how it ended"] == "not done" for row in table(pack, "plan"))


def test_the_plan_says_up_to_when_it_counts_and_when_that_was_known(pack: Path) -> None:
    text = (pack / "index.html").read_text("utf-8")
    assert "Due up to 2026-05-31, as known at the newest entry (2026-06-04): " in text
    assert "Days late of what was not done count to its next due date" in text


def test_what_stands_first_tells_what_failed_otherwise_and_what_does_not_stand(pack: Path) -> None:
    text = (pack / "index.html").read_text("utf-8")
    assert f"1: {SECOND} (as left)" in text
    assert re.search("Void or superseded</td><td[^>]*>0</td>", text)
    assert re.search("To be done</td><td[^>]*>0</td>", text)


def test_changes_accepted_in_the_month_say_who_when_why_from_and_to(pack: Path) -> None:
    row = row_of(pack, "changes", what="AIT-2101: interval in days ph_calibration")
    assert (row["from"], row["to"], row["kind"]) == ("7", "14", "register changed")
    assert (row["who"], row["why"]) == ("Odell Marsh (S-02)", "twice a month is enough, letter of 4 May")
    assert row["entered"].startswith("2026-05-04")
    assert [row["what"] for row in table(pack, "changes") if row["kind"] == "key issued"] == [
        "key of T-07",
        "key of T-11",
        "key of S-02",
    ]


def test_a_change_nobody_explained_is_told(here: Path, tmp_path: Path) -> None:
    register = here / "analyzers.toml"
    register.write_text(
        register.read_text("utf-8").replace("ph_calibration = 14", "ph_calibration = 28", 1), "utf-8"
    )
    pack_of(open_plant(here), tmp_path / "pack")
    row = row_of(tmp_path / "pack", "unexplained", about="AIT-2101")
    assert (row["from"], row["to"], row["why"]) == ("14", "28", "nobody has said why")


def test_what_is_open_and_late_is_told_the_most_pressing_first(pack: Path) -> None:
    rows = table(pack, "open")
    assert [(row["what"], row["record"]) for row in rows] == [("open question", SECOND), ("late", SECOND)]
    assert rows[0]["in words"] == "Why was it not adjusted?"
    assert rows[0]["who"] == "Odell Marsh (S-02)"
    assert rows[1]["in words"] == "signed 3 days after the work."


@pytest.mark.parametrize(
    ("hours", "late"), [(23.9, False), (24, False), (24.1, True)], ids=["just inside", "at", "just outside"]
)
def test_a_signature_is_late_after_a_day(hours: float, late: bool) -> None:
    worked = datetime(2026, 5, 31, 8, tzinfo=UTC)

    def entry(event: str, after: float) -> Entry:
        at = (worked + timedelta(hours=after)).isoformat()
        return Entry("L1", 1, GENESIS, "", "", event, "", FIRST, at, {})

    state = RecordState(FIRST, (entry("performed", 1), entry("signed", hours)))
    assert bool(list(_late(state, worked))) is late
    assert list(_late(RecordState(FIRST, (entry("performed", 1),)), worked)) == []  # not signed is not late


def test_heads_stand_before_at_the_end_and_now(made: Path, pack: Path) -> None:
    book = open_book(str(made / "plant" / "book" / "book.sqlite"), "L1")
    entries = list(book.entries("L1"))
    in_may = [entry for entry in entries if entry.at < "2026-06"]
    lines = (pack / "heads.txt").read_text("utf-8").splitlines()
    assert lines[2:] == [
        f"month {MONTH}",
        "from 2026-05-01T00:00:00-05:00",
        "to 2026-06-01T00:00:00-05:00",
        f"begin L1:0:{GENESIS}",
        f"end L1:{in_may[-1].seq}:{in_may[-1].digest}",
        f"now L1:{entries[-1].seq}:{entries[-1].digest}",
    ]
    assert (pack / "chains" / "chain-L1.txt").read_text("utf-8").splitlines() == list(book.export_lines("L1"))


@pytest.mark.parametrize(
    ("at", "begin", "end"),
    [
        ("2026-04-30T23:59:59-05:00", 1, 1),  # just before the month
        ("2026-05-01T00:00:00-05:00", 0, 1),  # its first moment
        ("2026-05-31T23:59:59-05:00", 0, 1),  # its last second
        ("2026-06-01T00:00:00-05:00", 0, 0),  # just after it
        ("2026-06-01T04:59:59+00:00", 0, 1),  # its last second, by another clock
    ],
)
def test_an_entry_belongs_to_the_month_of_the_plants_clock(
    tmp_path: Path, at: str, begin: int, end: int
) -> None:
    book = open_book(tmp_path / "book.sqlite", "L1", create=True)
    with book.writing() as writer:
        writer.append("skipped", key="one", at=at, body={})
        writer.append("skipped", key="two", at="2026-06-09T00:00:00-05:00", body={})
    walk = Walked(MONTH, ZoneInfo("America/Chicago"))
    assert len(list(walk.lines(book, "L1"))) == 2
    heads = walk.heads["L1"]
    assert (heads.begin.seq, heads.end.seq, heads.now.seq) == (begin, end, 2)


def test_certificates_are_those_of_the_plant(made: Path, pack: Path) -> None:
    kept = made / "plant" / "certificates"
    for path in kept.iterdir():
        assert (pack / "certificates" / path.name).read_bytes() == path.read_bytes()
    row = row_of(pack, "certificates", file="authority.pem")
    assert row["SHA-256 fingerprint of the certificate"] in (pack / "check_by_hand.txt").read_text("utf-8")
    told = subprocess.run(
        ["openssl", "x509", "-in", str(kept / "authority.pem"), "-noout", "-fingerprint", "-sha256"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    outside = told.strip().rpartition("=")[2].replace(":", "").lower()
    assert outside == row["SHA-256 fingerprint of the certificate"]
    assert hashlib.sha256((pack / "certificates" / "authority.cer").read_bytes()).hexdigest() == outside


def test_the_commands_of_the_page_give_what_it_prints(pack: Path) -> None:
    """Those for Linux are run as they stand there; those for Windows and macOS are called untried."""
    text = " ".join((pack / "check_by_hand.txt").read_text("utf-8").split())
    assert "The lines for Windows and macOS are from memory, untried" in text
    for begin, end in (("sha256sum pages/", " macOS"), ("openssl x509", " Then tell")):
        said = ran(text[text.index(begin) :].partition(end)[0], pack)
        assert said.rpartition("=")[2].split()[0].replace(":", "").lower() in text
    command = text[text.index("sha256sum -c") :].partition(";")[0]
    assert set(line.rpartition(": ")[2] for line in ran(command, pack).splitlines()) == {"OK"}


def ran(command: str, folder: Path) -> str:
    return subprocess.run(command.split(), cwd=folder, capture_output=True, text=True, check=True).stdout


def test_a_private_key_never_goes_into_a_pack(here: Path, tmp_path: Path) -> None:
    word = "PRIVATE" + " KEY"
    (here / "certificates" / "T-99.pem").write_text(
        f"-----BEGIN {word}-----\nAAAA\n-----END {word}-----\n", "ascii"
    )
    told = pack_of(open_plant(here), tmp_path / "pack")
    assert any("T-99.pem holds a private key and was left out" in problem for problem in told.problems)
    assert not any(word.encode() in data for data in files_of(tmp_path / "pack").values())


def test_the_manifest_holds_every_file(pack: Path) -> None:
    text = (pack / "manifest.txt").read_text("utf-8")
    told = dict(reversed(line.split("  ", 1)) for line in text.splitlines() if not line.startswith("#"))
    assert told == {
        name: hashlib.sha256(data).hexdigest()
        for name, data in files_of(pack).items()
        if name != "manifest.txt"
    }
    done = subprocess.run(
        ["sha256sum", "--quiet", "-c", "manifest.txt"], cwd=pack, capture_output=True, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


def test_only_the_manifest_says_when_it_was_made(made: Path, pack: Path, tmp_path: Path) -> None:
    make_pack(open_plant(made / "plant"), MONTH, tmp_path / "later", MADE + timedelta(days=400))
    before, after = files_of(pack), files_of(tmp_path / "later")
    assert [name for name in before if before[name] != after[name]] == ["manifest.txt"]
    assert before.keys() == after.keys()


def test_a_zip_is_the_folder_and_the_same_bytes_every_time(made: Path, pack: Path, tmp_path: Path) -> None:
    plant = open_plant(made / "plant")
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        pack_of(plant, tmp_path / name / "may.zip", as_zip=True)
    one, two = ((tmp_path / name / "may.zip").read_bytes() for name in ("one", "two"))
    assert one == two
    with ZipFile(BytesIO(one)) as archive:
        assert archive.testzip() is None
        assert {name.removeprefix("may/"): archive.read(name) for name in archive.namelist()} == files_of(
            pack
        )


def test_names_are_safe_on_windows(pack: Path) -> None:
    names = [name for path in files_of(pack) for name in path.split("/")]
    assert all(name == safe(name) for name in names)
    assert len({path.lower() for path in files_of(pack)}) == len(files_of(pack))


@pytest.mark.parametrize(
    "name", ["con", "NUL.pdf", "com1.txt", "a:b", "a/b", "a\\b", 'a"b', "a.", "a ", "\u6c34", ""]
)
def test_a_name_that_windows_cannot_hold_is_changed(name: str) -> None:
    changed = safe(name)
    assert changed != name
    assert changed == safe(changed)


# ---------------------------------------------------------------- the workbook and the CSV files


def test_the_workbook_holds_the_same_tables_as_text(pack: Path) -> None:
    book = load_workbook(pack / "index.xlsx")
    names = {
        "Records": "index",
        "Readings": "readings",
        "Checks": "checks",
        "Plan": "plan",
        "Open and late": "open",
    }
    assert {
        *names,
        "Changes",
        "Changes told",
        "Not explained",
        "Opened",
        "Skipped",
        "Certificates",
        "About",
    } == set(book.sheetnames)
    for name, file in names.items():
        head, *rows = [[cell or "" for cell in row] for row in book[name].iter_rows(values_only=True)]
        assert [dict(zip(head, row, strict=True)) for row in rows] == table(pack, file)
        assert {cell.data_type for row in book[name].iter_rows() for cell in row} <= {"s", "inlineStr", "n"}
        assert all(isinstance(cell, str) for row in rows for cell in row)


def test_nothing_typed_becomes_a_formula() -> None:
    sheet = Sheet(
        "x", "X", "X", (Head("a"), Head("b")), [("=1+1", "-0.05"), ("@x", "+1+1"), ("\x1b[2J", "\ufffe")]
    )
    (cell,) = [
        row[0]
        for row in load_workbook(BytesIO(workbook([sheet], [], "p", LATE.isoformat())))["X"].iter_rows(
            min_row=2, max_row=2
        )
    ]
    assert (cell.value, cell.data_type) == ("=1+1", "s")
    text = csv_text(sheet, "p")
    assert text.splitlines()[1:3] == ["'=1+1,-0.05,p", "'@x,'+1+1,p"]


@pytest.mark.parametrize(
    "text", ["7.10", "-0.05", "-0.05 mg/L", "+12", "as typed", "\u2014", "", "2026-05-31"]
)
def test_an_ordinary_text_stays_as_it_is(text: str) -> None:
    assert inert(text) == text


# ---------------------------------------------------------------- the pages


class _Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_one_file_without_a_script(pack: Path, name: str) -> None:
    page = _Page((pack / name).read_text("utf-8"))
    assert not {tag for tag, _ in page.tags} & {"script", "iframe", "link", "img", "object", "form"}
    assert not [key for _, attributes in page.tags for key in attributes if key.startswith("on")]
    assert any("default-src 'none'" in (attributes.get("content") or "") for _, attributes in page.tags)
    links = [unquote(attributes["href"] or "") for tag, attributes in page.tags if tag == "a"]
    assert all((pack / link).exists() for link in links)
    if name == "index.html":
        assert f"pages/{SECOND}.pdf" in links


def test_every_page_and_table_of_a_synthetic_plant_says_so(pack: Path) -> None:
    for name in (*PAGES, "check_by_hand.txt", "heads.txt", "manifest.txt"):
        assert "SYNTHETIC DATA" in (pack / name).read_text("utf-8").split("<h1>")[0], name
    for path in pack.glob("*.csv"):
        assert all("SYNTHETIC DATA" in row["plant"] for row in table(pack, path.stem))
    for sheet in load_workbook(pack / "index.xlsx").worksheets:
        assert "SYNTHETIC DATA" in sheet.oddHeader.center.text


def test_a_real_plant_is_not_called_synthetic(made: Path, tmp_path: Path) -> None:
    plant = open_plant(made / "plant")
    real = replace(plant, site=replace(plant.site, name="Northfield", synthetic=False))
    pack_of(real, tmp_path / "pack")
    for name in (*PAGES, "heads.txt", "manifest.txt"):
        assert "SYNTHETIC" not in (tmp_path / "pack" / name).read_text("utf-8")


def test_the_page_holds_what_the_tables_hold(pack: Path) -> None:
    text = (pack / "index.html").read_text("utf-8")
    for word in (SECOND, "AIT-2102", "EL-0418", "Why was it not adjusted?", "no key", "letter of 4 May"):
        assert word in text
    for row in table(pack, "index"):
        assert row["SHA-256 of the PDF"] in text
    assert "What is wrong" not in text


def test_the_worked_example_can_be_followed_with_a_calculator(pack: Path) -> None:
    text = (pack / "check_by_hand.txt").read_text("utf-8")
    assert f"{SECOND}, pH calibration in buffers" in text  # a real record of the month, one that failed
    put_in = re.search(r"e = R \u2212 B\r?\n\s+= ([0-9.]+) \u2212 ([0-9.]+)\r?\n\s+= (-?[0-9.]+) pH", text)
    assert put_in is not None
    reading, reference, answer = put_in.groups()
    assert round(float(reading) - float(reference), 4) == float(answer)
    assert "The rule is guarded" in text
    assert re.search(r"outside the\s+upper bound 0\.10 by", text)
    row = row_of(pack, "index", record=FIRST)
    assert f"certutil -hashfile pages\\{FIRST}.pdf SHA256" in text
    assert row["SHA-256 of the PDF"] in text


# ---------------------------------------------------------------- what is wrong is named


def _missing(page: Path) -> None:
    page.unlink()


def _damaged(page: Path) -> None:
    page.write_bytes(page.read_bytes()[:-20] + b"x" * 20)


def _unreadable(page: Path) -> None:
    page.unlink()
    page.mkdir()


WRONG: list[tuple[Callable[[Path], None], str]] = [
    (_missing, f"missing: there is no {FIRST}.pdf in book/pages."),
    (_damaged, "not the file the book holds: changed or damaged."),
    (_unreadable, f"missing: {FIRST}.pdf cannot be read (Is a directory)."),
]


@pytest.mark.parametrize(("damage", "sentence"), WRONG, ids=lambda one: getattr(one, "__name__", ""))
def test_a_page_that_is_not_as_it_should_be_is_named(
    here: Path, tmp_path: Path, damage: Callable[[Path], None], sentence: str
) -> None:
    damage(here / "book" / "pages" / f"{FIRST}.pdf")
    told = pack_of(open_plant(here), tmp_path / "pack")
    assert told.problems == (f"The PDF of {FIRST}: {sentence}",)
    assert (told.records, told.pdfs) == (2, 1)
    row = row_of(tmp_path / "pack", "index", record=FIRST)
    assert row["PDF against the book"] == sentence
    assert (tmp_path / "pack" / "pages" / f"{FIRST}.pdf").is_file() is (damage is _damaged)
    assert sentence in (tmp_path / "pack" / "index.html").read_text("utf-8")
    script = [sys.executable, "-I", "-S", str(tmp_path / "pack" / "verify_chains.py")]
    done = subprocess.run(script, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert f"It was so when the pack was made: {sentence}" in done.stdout


def test_a_page_that_waits_beside_its_place_is_taken(here: Path, tmp_path: Path) -> None:
    page = here / "book" / "pages" / f"{FIRST}.pdf"
    page.rename(page.with_name(f"{FIRST}.pdf.part"))
    told = pack_of(open_plant(here), tmp_path / "pack")
    assert (told.problems, told.pdfs) == ((), 2)
    assert told.notes == (
        f"Unfinished: {FIRST}.pdf.part: signed and entered, not yet in its place; the next command puts it "
        f"there.",
    )
    assert (tmp_path / "pack" / "pages" / f"{FIRST}.pdf").is_file()


def test_a_certificate_that_was_exchanged_is_named(here: Path, tmp_path: Path) -> None:
    shutil.copy(here / "certificates" / "T-07.pem", here / "certificates" / "T-11.pem")
    told = pack_of(open_plant(here), tmp_path / "pack")
    assert "certificates/T-11.pem is not the one entered into the book." in told.problems


def test_a_record_that_cannot_be_read_is_named_and_stays_in_the_index(tmp_path: Path, here: Path) -> None:
    plant = open_plant(here)
    short_records.enter(plant, ("2026-05-30T08:00-05:00", b"{}"), ("2026-05-30T09:00-05:00", {}))
    told = pack_of(plant, tmp_path / "pack")
    assert [row["record"] for row in table(tmp_path / "pack", "index")] == [
        FIRST,
        SECOND,
        "L1-2026-0003",
        "L1-2026-0004",
    ]
    named = " ".join(told.problems)
    for number in ("L1-2026-0003", "L1-2026-0004"):
        assert f"{number} is no record that this version can read" in named
        assert f"The PDF of {number}: missing" in named


def alter(plant: Plant, was: str, becomes: str) -> None:
    """Change the text of one entry of the book, as its owner can."""
    with closing(sqlite3.connect(plant.book)) as connection:
        connection.execute("DROP TRIGGER entries_no_update")
        query = "UPDATE entries SET entry = replace(entry, ?, ?) WHERE record = ? AND event = 'performed'"
        assert connection.execute(query, (was, becomes, SECOND)).rowcount == 1
        connection.commit()


def test_an_altered_entry_is_named_first_and_goes_into_the_pack_as_it_is(here: Path, tmp_path: Path) -> None:
    plant = open_plant(here)
    alter(plant, '"fail"', '"pass"')
    told = pack_of(plant, tmp_path / "pack")
    assert "Triggers that keep entries from being changed were taken out" in told.problems[0]
    assert re.match(r"Entry [0-9]+ of L1 was altered: its text does not give its digest\.", told.problems[1])
    assert told.problems[1] in (tmp_path / "pack" / "index.html").read_text("utf-8")
    script = [sys.executable, "-I", "-S", str(tmp_path / "pack" / "verify_chains.py")]
    assert subprocess.run(script, capture_output=True, check=False).returncode == 1


@pytest.mark.parametrize("becomes", ["yesterday", "2026-99-01T00:00"])
def test_a_book_too_damaged_for_a_pack_is_one_sentence(here: Path, tmp_path: Path, becomes: str) -> None:
    plant = open_plant(here)
    alter(plant, '"at":"2026', f'"at":"{becomes}')
    said = refused(RepairTheFolder, lambda: pack_of(plant, tmp_path / "pack"))
    assert said.startswith("The book is damaged so far that no pack can be made of it. Triggers")
    assert not (tmp_path / "pack").exists()


def test_what_does_not_stand_any_more_stays_in_the_index_and_says_why(here: Path, tmp_path: Path) -> None:
    plant = open_plant(here)
    acts.void(plant, FIRST, "S-02", "wrong analyzer", LATE)
    pack_of(plant, tmp_path / "pack")
    assert row_of(tmp_path / "pack", "index", record=FIRST)["state"] == "voided"
    row = row_of(tmp_path / "pack", "open", what="voided")
    assert (row["who"], row["in words"]) == ("Odell Marsh (S-02)", "It is voided, because wrong analyzer")


def test_ink_is_told_and_not_proven(made: Path) -> None:
    plant = open_plant(made / "plant")
    body = {"by": "T-07", "mode": "pen", "kept_at": "binder 3"}
    entry = Entry("L1", 9, "", "", "", "signed", "", FIRST, "2026-05-31T12:00:00-05:00", body)
    state = RecordState(FIRST, (entry,))
    assert _signature(state, "signed", {}, plant) == (
        "Ines Quarrow (T-07), 2026-05-31 12:00 -05:00, in ink (told, not proven; paper kept at binder 3)"
    )
    assert _signature(state, "reviewed", {}, plant) == "\u2014"


def test_every_chain_of_the_book_goes_in(here: Path, tmp_path: Path) -> None:
    plant = open_plant(here)
    with open_book(plant.book, "CON").writing() as writer:
        writer.append("skipped", key="elsewhere", at=LATE.isoformat(), body={"day": "2026-06-02"})
    pack_of(plant, tmp_path / "pack")
    assert (tmp_path / "pack" / "chains" / "chain-CON.txt").read_bytes().count(b"\n") == 1
    assert f"begin CON:0:{GENESIS}" in (tmp_path / "pack" / "heads.txt").read_text("utf-8")
    script = [sys.executable, "-I", "-S", str(tmp_path / "pack" / "verify_chains.py")]
    done = subprocess.run(script, capture_output=True, text=True, check=False)
    assert (done.returncode, "Chain CON: 1 entry," in done.stdout) == (0, True)


# ---------------------------------------------------------------- refusals


def refused(kind: type[Exception], call: Callable[[], Made]) -> str:
    with pytest.raises(kind) as told:
        call()
    sentence = str(told.value)
    assert "\n" not in sentence
    return sentence


@pytest.mark.parametrize(
    "month", ["May", "2026-5", "2026-13", "2026-00", "0000-01", "", "2026-05-01", "\u0662026-05"]
)
def test_what_is_no_month_is_refused(made: Path, tmp_path: Path, month: str) -> None:
    plant = open_plant(made / "plant")
    assert "is not a month; type it as 2026-03." in refused(
        CorrectTheEntry, lambda: pack_of(plant, tmp_path / "pack", month)
    )
    assert not list(tmp_path.iterdir())


def test_a_month_that_has_not_begun_is_refused(made: Path, tmp_path: Path) -> None:
    plant = open_plant(made / "plant")
    end = datetime(2026, 7, 1, 4, 59, tzinfo=UTC)  # 23:59 of 30 June at the plant
    with pytest.raises(CorrectTheEntry, match="2026-07 has not begun: this computer's clock says 2026-06-30"):
        make_pack(plant, "2026-07", tmp_path / "pack", end)
    told = make_pack(plant, "2026-07", tmp_path / "pack", end + timedelta(minutes=1))
    assert told.records == 0
    assert told.notes == (
        "The newest entry of the book is of 2026-06-04: by the clock of the book the month was not over, and "
        "more may come of 2026-07.",
    )


def test_a_month_before_the_book_began_is_refused(made: Path, tmp_path: Path) -> None:
    plant = open_plant(made / "plant")
    said = refused(ChooseAnother, lambda: pack_of(plant, tmp_path / "pack", "2026-04"))
    assert said == (
        "The book holds nothing of 2026-04: no work of that month, and its first entry is of 2026-05-02; no "
        "pack was made."
    )
    assert not list(tmp_path.iterdir())


def test_a_month_without_work_gives_a_pack_that_says_so(made: Path, tmp_path: Path) -> None:
    told = pack_of(open_plant(made / "plant"), tmp_path / "pack", NEXT)
    assert (told.records, told.problems) == (0, ())
    page = (tmp_path / "pack" / "index.html").read_text("utf-8")
    assert "none: no work of 2026-06 is in the book" in page
    assert "No record of this month holds a check" in (tmp_path / "pack" / "check_by_hand.html").read_text(
        "utf-8"
    )
    assert any(row["how it ended"] == "not done" for row in table(tmp_path / "pack", "plan"))
    done = subprocess.run(
        [sys.executable, "-I", "-S", str(tmp_path / "pack" / "verify_chains.py")],
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0


def test_without_a_book_there_is_no_pack(here: Path, tmp_path: Path) -> None:
    (here / "book" / "book.sqlite").unlink()
    said = refused(RepairTheFolder, lambda: pack_of(open_plant(here), tmp_path / "pack"))
    assert said.startswith("There is no record book at")
    assert not (tmp_path / "pack").exists()


def test_an_empty_book_gives_no_pack(here: Path, tmp_path: Path) -> None:
    plant = open_plant(here)
    Path(plant.book).unlink()
    open_book(plant.book, plant.device, create=True)
    said = refused(ChooseAnother, lambda: pack_of(plant, tmp_path / "pack"))
    assert said == "The book holds nothing of 2026-05: it is empty; no pack was made."


def test_nothing_is_overwritten(made: Path, tmp_path: Path) -> None:
    plant = open_plant(made / "plant")
    full = tmp_path / "full"
    full.mkdir()
    (full / "letter.txt").write_text("mine", "utf-8")
    assert "is not an empty folder" in refused(ChooseAnother, lambda: pack_of(plant, full))
    taken = tmp_path / "may.zip"
    taken.write_text("mine", "utf-8")
    assert "is there already" in refused(ChooseAnother, lambda: pack_of(plant, taken, as_zip=True))
    assert "is there already" in refused(ChooseAnother, lambda: pack_of(plant, taken))
    assert "is there already" in refused(ChooseAnother, lambda: pack_of(plant, full, as_zip=True))
    (tmp_path / "new.part").mkdir()
    (tmp_path / "new.part" / "half").write_text("half", "utf-8")
    for _ in ("without", "with an empty folder in its place"):
        assert "or an interrupted one left" in refused(
            ChooseAnother, lambda: pack_of(plant, tmp_path / "new")
        )
        (tmp_path / "new").mkdir(exist_ok=True)
    shutil.rmtree(tmp_path / "new.part")
    assert files_of(tmp_path) == {"full/letter.txt": b"mine", "may.zip": b"mine"}


def test_an_empty_folder_is_taken(made: Path, tmp_path: Path) -> None:
    (tmp_path / "pack").mkdir()
    assert pack_of(open_plant(made / "plant"), tmp_path / "pack").pdfs == 2


@pytest.mark.skipif(os.name != "posix", reason="names and rights of a POSIX system")
def test_a_place_that_cannot_be_written_is_one_sentence(made: Path) -> None:
    plant = open_plant(made / "plant")
    said = refused(CouldNotRun, lambda: pack_of(plant, Path("/proc/nothing/pack")))
    assert "could not be made" in said


@pytest.mark.parametrize("as_zip", [False, True])
def test_a_failure_on_the_way_leaves_nothing(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, as_zip: bool
) -> None:
    def full(*_anything: object) -> bytes:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("wqverify.pack.making.workbook", full)
    plant = open_plant(made / "plant")
    said = refused(CouldNotRun, lambda: pack_of(plant, tmp_path / "pack", as_zip=as_zip))
    assert "could not be made (No space left on device)" in said
    assert not list(tmp_path.iterdir())


def test_a_book_that_grows_meanwhile_is_told(
    here: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plant = open_plant(here)
    monkeypatch.setattr("wqverify.pack.making.by_hand_blocks", lambda _pack: _enter_one(plant))
    said = refused(CouldNotRun, lambda: pack_of(plant, tmp_path / "pack"))
    assert "The book was added to while the pack of 2026-05 was made" in said
    assert not (tmp_path / "pack").exists()


def _enter_one(plant: Plant) -> list[object]:
    with open_book(plant.book, plant.device).writing() as writer:
        writer.append("skipped", key="meanwhile", at=LATE.isoformat(), body={"day": "2026-05-24"})
    return []


# ---------------------------------------------------------------- the command


@pytest.fixture
def command(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, str]]:
    def run(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.chdir(here)
        monkeypatch.setattr(sys, "argv", ["wqverify", "audit-pack", *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        return int(ended.value.code or 0), told.out, told.err

    return run


def test_the_command_says_where_the_pack_is(here: Path, command: Callable[..., tuple[int, str, str]]) -> None:
    code, out, _ = command(MONTH)
    assert code == 0
    assert out.startswith(f"audit-pack-{MONTH}, {MONTH}: 2 records of the month, 2 PDFs as in the book, ")
    assert (here / f"audit-pack-{MONTH}" / "index.html").is_file()
    code, out, _ = command(MONTH, "--zip", "--json")
    assert code == 0
    told = json.loads(out)
    assert told.pop("files") > 20
    assert told == {
        "place": f"audit-pack-{MONTH}.zip",
        "month": MONTH,
        "records_of_the_month": 2,
        "records_about_it": 0,
        "pdfs_as_in_the_book": 2,
        "problems": [],
        "notes": [],
    }
    assert (here / f"audit-pack-{MONTH}.zip").is_file()
    code, _, err = command(MONTH)
    assert code == 2
    assert "never overwrites" in err


def test_the_command_ends_with_1_where_something_is_wrong(
    here: Path, command: Callable[..., tuple[int, str, str]]
) -> None:
    (here / "book" / "pages" / f"{SECOND}.pdf").unlink()
    code, out, _ = command(MONTH)
    assert code == 1
    assert f"WRONG: The PDF of {SECOND}: missing" in out
    assert (here / f"audit-pack-{MONTH}" / "index.html").is_file()


def test_later_records_about_the_month_go_in_and_others_do_not(tmp_path: Path) -> None:
    """An outage or a doubt is often closed in the next month, and a month is judged after it."""
    plant = plant_in(tmp_path / "p")
    for day, facts in (
        ("2026-05-11", {}),
        ("2026-06-01", {"month": "2026-05"}),
        ("2026-06-01", {"month": "2026-04"}),
        ("2026-06-02", {"answers": "L1-2026-0001"}),
        ("2026-06-02", {"answers": "L1-2026-0003"}),
        ("2026-06-02", {}),
    ):
        short_records.enter(plant, (f"{day}T08:00-05:00", {}), more={"facts": facts})
    book = open_book(plant.book, plant.device)
    assert [state.number[-1] for state in about_the_month(book, "2026-05")] == ["1", "2", "4"]
    assert [state.number[-1] for state in about_the_month(book, "2026-06")] == ["2", "3", "4", "5", "6"]
    assert [state.number[-1] for state in about_the_month(book, "2026-04")] == ["3"]
