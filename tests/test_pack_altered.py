"""Alterations of a pack, each made by somebody who wrote the manifest anew: each is found and said."""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from pack_altering import (
    CHAIN,
    Damage,
    added,
    another_month,
    another_serial,
    both,
    by_hand,
    change,
    copied,
    cut_row,
    cut_table,
    cut_table_row,
    digest_by_hand,
    earlier,
    head_shown,
    index,
    lines,
    linked,
    manifest_again,
    other_digest,
    other_fingerprint,
    other_order,
    passed,
    removed,
    sheet,
    shortened,
    swapped,
    twice,
    unperformed,
    with_part,
    without,
    written_anew,
)
from pack_example import FIRST, MONTH, SECOND

from wqverify.pack.script.chain import GENESIS
from wqverify.pack.script.reading import TOP, rows_of
from wqverify.pack.script.said import Report
from wqverify.pack.script.whole import check

pytestmark = pytest.mark.slow


@pytest.fixture
def pack(packed_month: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(packed_month / "pack", tmp_path / "pack"))


# ---------------------------------------------------------------- each is found


ALTERED: list[tuple[str, Damage, str]] = [
    (
        "an outcome",
        index(",fail,", ",pass,"),
        f'index.csv, {SECOND}: as found says "pass", its record and the chains "fail".',
    ),
    ("an outcome left", index(",fail,fail,", ",fail,pass,"), "as left says"),
    ("control system", index(",as found: ", ",as found: x"), "index.csv, L1-2026-0002: control system says"),
    (
        "a state",
        index("returned with a question", "countersigned"),
        'state says "countersigned", its record and the chains',
    ),
    ("a signer", index("(T-07), 2026-06", "(T-11), 2026-06"), f"index.csv, {SECOND}: signed says"),
    ("a name", index("Ines Quarrow (T-07)", "Odell Marsh (T-07)"), "performed by says"),
    ("a time", index("2026-05-31 08:05", "2026-05-30 08:05"), f"index.csv, {SECOND}: performed says"),
    ("a serial", index("EL-0418", "EL-0417"), 'serial says "EL-0417", its record and the chains "EL-0418".'),
    ("a title", index("pH calibration in buffers", "pH verification"), "procedure name says"),
    ("a procedure", index("ph_calibration", "ph_check"), f"index.csv, {SECOND}: procedure says"),
    ("whose PDF", index(f"{SECOND}.pdf", f"{FIRST}.pdf"), f"{SECOND}: its PDF is missing from pages/."),
    ("a line less", without("index.csv", SECOND), f"index.csv holds 0 rows of {SECOND}; by its record"),
    ("a line twice", twice("index.csv", FIRST), f"index.csv holds 2 rows of {FIRST}"),
    (
        "a line more",
        both(twice("index.csv", SECOND), change("index.csv", f"\n{SECOND},", "\nL1-2026-0009,")),
        f"index.csv tells of L1-2026-0009: the chains name no such record of {MONTH}.",
    ),
    ("a column", change("index.csv", "as found,", "as,"), f"{FIRST}: as found says nothing, its record"),
    ("the first column", change("index.csv", "record,", "no,"), "index.csv has no column record"),
    ("a cell less", index(",fail,", ","), "cells under"),
    ("an open quote", change("index.csv", "AIT-2101", '"AIT-2101'), "index.csv is no table of comma-sep"),
    (
        "no text",
        change("index.csv", "AIT-2101", "AIT\udcff".encode("utf-8", "replace").decode() + "\x00"),
        "",
    ),
    ("a digest in the index", index(",as in the book,", ",as in the book,0"), "SHA-256 of the PDF says"),
    ("an empty index", lambda folder: (folder / "index.csv").write_bytes(b""), "index.csv is no table"),
    (
        "a verdict of a check",
        change("checks.csv", "fail,yes", "pass,yes"),
        'outcome says "pass", its record "fail".',
    ),
    ("a bound", change("checks.csv", ",0.10,pH", ",0.30,pH"), 'high says "0.30", its record "0.10".'),
    (
        "a check less",
        without("checks.csv", f"{SECOND},", last=True),
        f"of {SECOND}; by its record there must be",
    ),
    ("a check more", twice("checks.csv", f"{FIRST},"), f"of {FIRST}; by its record there must be"),
    ("a check out of the verdict", change("checks.csv", "fail,yes", "fail,no"), "part of the verdict says"),
    ("a reading", change("readings.csv", "7.23", "7.03"), 'value as typed says "7.03", its record "7.23".'),
    ("when it was read", change("readings.csv", "T08:12-05:00", "T09:12-05:00"), "time of its part says"),
    ("a reading less", without("readings.csv", "7.23"), f"rows of {SECOND}; by its record there must be"),
    (
        "the page",
        change("index.html", ">fail<", ">pass<"),
        f'index.html, {SECOND}: as found says "pass", index.csv',
    ),
    ("a line of the page", cut_row, f"index.html: the row of {SECOND} is missing, which index.csv has."),
    ("a digest on the page", other_digest, "SHA-256 of the PDF says"),
    (
        "where a link leads",
        change("index.html", f'href="pages/{SECOND}.pdf"', 'href="http://192.0.2.1/x.pdf"'),
        f"index.html: a link that says pages/{SECOND}.pdf leads to http://192.0.2.1/x.pdf.",
    ),
    (
        "a program",
        change("index.html", "</body>", "<script>1</script></body>"),
        "something that runs or fetches",
    ),
    (
        "another plan",
        change("plan.csv", "not done", "in time"),
        'how it ended says "not done", plan.csv "in time"',
    ),
    (
        "a row more on the page",
        change("index.html", "</tbody>", "<tr><td>L1-2026-0009</td></tr></tbody>"),
        "index.html: a row more, of L1-2026-0009, which index.csv has not.",
    ),
    (
        "the order of the page",
        other_order,
        "index.html shows the rows of index.csv in another order.",
    ),
    (
        "a table of the page",
        cut_table,
        "index.html does not show the table of index.csv.",
    ),
    ("the workbook", sheet("Records", ">fail<", ">pass<"), 'as found says "pass", index.csv "fail".'),
    ("a check of the workbook", sheet("Checks", ">0.10<", ">0.30<"), 'high says "0.30", checks.csv "0.10".'),
    ("a row of the workbook", sheet("Plan", '<row r="3"', '<x r="3"'), "index.xlsx is no workbook as a pack"),
    (
        "a formula",
        sheet("Records", "<is><t>fail</t></is>", "<f>1+1</f>"),
        "index.xlsx is no workbook as a pack",
    ),
    (
        "a row that is hidden",
        sheet("Checks", '<row r="3"', '<row hidden="1" r="3"'),
        "index.xlsx is no workbook",
    ),
    ("two columns of a name", change("checks.csv", ",observed,", ",outcome,"), "has two columns of one name"),
    ("a macro", with_part("xl/vbaProject.bin"), "index.xlsx is no workbook as a pack holds it"),
    ("no workbook", added("index.xlsx", b"PK"), "index.xlsx is no workbook as a pack holds it"),
    ("begin", without("heads.txt", "begin"), "heads.txt names no head of L1 for begin."),
    ("end", without("heads.txt", "end L1"), "heads.txt names no head of L1 for end."),
    ("now", without("heads.txt", "now"), "heads.txt names no head of L1 for now."),
    ("two ends", twice("heads.txt", "end L1"), "heads.txt names more than one head of L1 for end."),
    ("an earlier end", lambda folder: earlier(folder, "end"), "by the times of the entries it is entry"),
    ("an earlier now", lambda folder: earlier(folder, "now"), "of L1 came after the pack was made."),
    ("a part of a digest", shortened, "names only a part of the digest of L1."),
    ("no month", without("heads.txt", "month 2026"), "heads.txt names no month"),
    (
        "no bounds",
        without("heads.txt", "from 2026"),
        f"heads.txt does not say from when to when {MONTH} went",
    ),
    ("other bounds", change("heads.txt", "to 2026-06-01", "to 2026-07-01"), "does not say from when to when"),
    (
        "bounds without zone",
        change("heads.txt", "00:00:00-05:00", "00:00:00"),
        "does not say from when to when",
    ),
    (
        "another month",
        another_month,
        "is extra: the chains name no such record of 2026-04",
    ),
    (
        "an empty chain",
        change("heads.txt", "month 2026", f"now L2:0:{GENESIS}\nmonth 2026"),
        "heads.txt (now) names entry 0 of L2: that chain is not in the pack.",
    ),
    (
        "a line of heads",
        change("heads.txt", "month 2026", "so it is\nmonth 2026"),
        "heads.txt holds a line that says nothing",
    ),
    ("an entry", change(CHAIN, '"fail"', '"pass"'), "does not follow entry"),
    (
        "a time of an entry",
        change(CHAIN, '"at":"2026-05-02T', '"at":"yesterdayT'),
        "bears no time that can be read",
    ),
    (
        "another chain",
        change(CHAIN, '"chain":"L1","prev"', '"chain":"L3","prev"'),
        "An entry of another chain",
    ),
    ("the last entry", lines(CHAIN, lambda before: before[:-1]), "cannot be found, cut off at the end"),
    ("the first entry", lines(CHAIN, lambda before: before[1:]), "Entry 1 of L1 cannot be found: removed."),
    ("the order", lines(CHAIN, lambda before: [*before[:3], before[4], before[3], *before[5:]]), "the order"),
    (
        "a fork",
        copied(CHAIN, "chains/chain-L1-2.txt"),
        "is a second file of chain L1: a chain has one; it was",
    ),
    ("no entry", added("chains/chain-L7.txt", b""), "chains/chain-L7.txt holds no entry."),
    ("no chain", removed(CHAIN), "chains/ holds no chain"),
    ("a record out of the chain", written_anew(unperformed), f"is record {SECOND} where {FIRST} comes next"),
    (
        "an outcome in a chain written anew",
        written_anew(passed),
        f'{SECOND}: the chain says "pass" of as_found at the analyzer, the checks of its record "fail".',
    ),
    (
        "a serial in a chain written anew",
        written_anew(another_serial),
        f'{SECOND}: the chain says serial "EL-9999", its record.json "EL-0418".',
    ),
    (
        "swapped PDFs",
        swapped,
        f"{FIRST}: pages/{FIRST}.pdf is not the file that the chain names: it is that of {SECOND}.",
    ),
    ("a PDF less", removed(f"pages/{SECOND}.pdf"), f"{SECOND}: its PDF is missing from pages/."),
    (
        "a PDF more",
        copied(f"pages/{FIRST}.pdf", "pages/L1-2026-0099.pdf"),
        "pages/L1-2026-0099.pdf is extra: the",
    ),
    ("a PDF below", copied(f"pages/{FIRST}.pdf", "pages/sub/x.pdf"), "pages/sub/x.pdf is extra and no part"),
    ("a chain below", copied(CHAIN, "chains/x/y.txt"), "chains/x/y.txt is extra and no part of a pack"),
    (
        "a certificate below",
        added("certificates/x/y.pem"),
        "certificates/x/y.pem is extra and no part of a pack",
    ),
    (
        "another file",
        added("AUTORUN.INF"),
        "AUTORUN.INF is extra and no part of a pack: nothing of it was read",
    ),
    ("a link", linked, "readings.csv is a link to another place and no file of the pack."),
    (
        "the certificate for Windows",
        copied("certificates/T-11.pem", "certificates/authority.cer"),
        "certificates/authority.cer is not one that the chains name.",
    ),
    (
        "a fingerprint",
        other_fingerprint,
        "certificates.csv prints another fingerprint of",
    ),
    (
        "a count",
        change("index.html", "1 at the analyzer, 1 at", "0 at the analyzer, 1 at"),
        'index.html: Failed as found says "0 at the analyzer, 1 at the control system", the tables give',
    ),
    (
        "a count in the tables",
        index(",fail,fail,", ",fail,pass,"),
        'index.html: Failed otherwise says "1: L1-2026-0002 (as left',
    ),
    ("a head on the page", head_shown, "index.html does not print the heads of heads.txt."),
    ("a digest by hand", digest_by_hand, "check_by_hand.html prints 0123456789abcdef..., which is no digest"),
    (
        "a fingerprint by hand",
        by_hand,
        "check_by_hand.html does not print the fingerprint",
    ),
]


@pytest.mark.parametrize(
    ("damage", "sentence"), [each[1:] for each in ALTERED], ids=[each[0] for each in ALTERED]
)
def test_each_alteration_is_said(pack: Path, damage: Damage, sentence: str) -> None:
    damage(pack)
    manifest_again(pack)
    bad = check(pack, []).bad
    assert any(sentence in said for said in bad), bad
    assert all("\n" not in said for said in bad)


@pytest.mark.parametrize(
    "damage", [swapped, lines(f"pages/{SECOND}.pdf", lambda before: [*before[:-1], b"%%EOX\n"])]
)
def test_a_pdf_that_was_changed_accuses_no_table(pack: Path, damage: Damage) -> None:
    damage(pack)
    manifest_again(pack)
    bad = check(pack, []).bad
    assert bad
    assert [said for said in bad if not said.startswith((f"{FIRST}: ", f"{SECOND}: "))] == []
    assert not any("SHA-256" in said for said in bad)


@pytest.mark.parametrize("place", ["first", "last"])
@pytest.mark.parametrize("table", ["index", "plan", "open", "changes", "certificates"])
def test_a_row_removed_from_the_page_accuses_no_other_row(pack: Path, table: str, place: str) -> None:
    rows = cut_table_row(pack / "index.html", rows_of(pack, table, Report()) or [], place)
    assert rows > 1
    manifest_again(pack)
    (said,) = check(pack, []).bad
    assert said.startswith("index.html: the row of ")
    assert said.endswith(f" is missing, which {table}.csv has.")


@pytest.mark.parametrize("table", ["index", "plan", "open", "changes", "certificates"])
def test_a_row_removed_from_a_table_accuses_no_other_row(pack: Path, table: str) -> None:
    first = (pack / f"{table}.csv").read_bytes().splitlines(keepends=True)
    (pack / f"{table}.csv").write_bytes(b"".join([first[0], *first[2:]]))
    manifest_again(pack)
    bad = [
        said
        for said in check(pack, []).bad
        if " a row more, of " not in said and "the tables give" not in said
    ]
    assert bad == (
        [f"index.csv holds 0 rows of {FIRST}; by its record there must be 1."] if table == "index" else []
    )


def test_an_unaltered_pack_holds(pack: Path) -> None:
    manifest_again(pack)
    report = check(pack, [])
    assert report.bad == []
    assert not any("entry 0" in said for said in report.good)  # nothing is claimed of nothing
    assert any(said.startswith(f"heads.txt: L1 had no entry before {MONTH}, entry ") for said in report.good)


@pytest.mark.parametrize("name", sorted(TOP - {"verify_chains.py"}))
def test_a_file_that_is_missing_is_said_once(pack: Path, name: str) -> None:
    (pack / name).unlink()
    manifest_again(pack)
    said = [line for line in check(pack, []).bad if line.startswith(name)]
    assert said == [f"{name} is missing in the pack."]


def test_other_line_ends_are_said_once(pack: Path) -> None:
    for path in pack.rglob("*"):
        if path.suffix in (".txt", ".html", ".py", ".pem"):
            data = path.read_bytes().replace(b"\r\n", b"\n")
            path.write_bytes(data.replace(b"\n", b"\r\n"))
    (said,) = check(pack, []).bad
    assert said.startswith(
        "Only the line ends were written anew, as a mail program or an editor does it, of chains/"
    )
    manifest_again(pack)
    (said,) = check(pack, []).bad  # the manifest agrees, and the chain is still not as it was written
    assert said.startswith(
        "Only the line ends were written anew, as a mail program or an editor does it, of chains/"
    )


@pytest.mark.parametrize("name", ["csv", "__future__", "json", "re", "pathlib", "typing", "html"])
@pytest.mark.parametrize("how", [[], ["-I", "-S"]], ids=["plain", "isolated"])
def test_a_program_beside_the_script_is_never_run(pack: Path, name: str, how: list[str]) -> None:
    foreign = "import sys; sys.stdout.write('FOREIGN'); raise SystemExit(0)\n"
    (pack / f"{name}.py").write_text(foreign, "ascii")
    manifest_again(pack)
    done = subprocess.run(
        [sys.executable, *how, "verify_chains.py"], cwd=pack, capture_output=True, text=True
    )
    assert (done.returncode, done.stderr, "FOREIGN" in done.stdout) == (1, "", False)
    assert f"{name}.py is extra and no part of a pack: nothing of it was read or run." in done.stdout


@pytest.mark.parametrize("seed", range(3))
def test_no_alteration_ends_in_a_traceback(pack: Path, seed: int) -> None:
    """Bytes changed, removed and doubled anywhere; what holds nothing may go unseen, and is said so."""
    chance = random.Random(seed)
    names = sorted(p.relative_to(pack).as_posix() for p in pack.rglob("*") if p.is_file())
    for name in names:
        data = bytearray((pack / name).read_bytes())
        for _ in range(4):
            place = chance.randrange(len(data) - 1)
            data[place : place + chance.randrange(3)] = bytes(chance.choices(b'",\n\x00\xff{}[]9:', k=2))
        kept = (pack / name).read_bytes()
        (pack / name).write_bytes(bytes(data))
        manifest_again(pack)
        check(pack, [])
        (pack / name).write_bytes(kept)
