"""Alterations of a pack, each made by somebody who wrote the manifest anew: each is found and said."""

from __future__ import annotations

import hashlib
import json
import random
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from zipfile import ZipFile

import pytest
from pack_example import FIRST, MONTH, SECOND

from wqverify.pack.script.chain import GENESIS, digest_of_entry
from wqverify.pack.script.reading import TOP
from wqverify.pack.script.whole import check

pytestmark = pytest.mark.slow
Damage = Callable[[Path], None]
CHAIN = "chains/chain-L1.txt"


@pytest.fixture
def pack(packed_month: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(packed_month / "pack", tmp_path / "pack"))


# ---------------------------------------------------------------- how somebody alters a pack


def change(name: str, was: str, becomes: str, *, count: int = 1) -> Damage:
    """Change a text in a file."""

    def damage(folder: Path) -> None:
        data = (folder / name).read_bytes()
        assert was.encode() in data, f"{was} is not in {name}"
        (folder / name).write_bytes(data.replace(was.encode(), becomes.encode(), count))

    return damage


def lines(name: str, altered: Callable[[list[bytes]], list[bytes]]) -> Damage:
    """Change the lines of a file."""

    def damage(folder: Path) -> None:
        before = (folder / name).read_bytes().splitlines(keepends=True)
        after = altered(list(before))
        assert before != after
        (folder / name).write_bytes(b"".join(after))

    return damage


def without(name: str, word: str, *, last: bool = False) -> Damage:
    """Take away the first line that holds a word, or the last one."""

    def altered(before: list[bytes]) -> list[bytes]:
        places = [n for n, line in enumerate(before) if word.encode() in line]
        del before[places[-1 if last else 0]]
        return before

    return lines(name, altered)


def twice(name: str, word: str) -> Damage:
    def altered(before: list[bytes]) -> list[bytes]:
        place = next(n for n, line in enumerate(before) if word.encode() in line)
        return [*before[: place + 1], before[place], *before[place + 1 :]]

    return lines(name, altered)


def added(name: str, data: bytes = b"anything\n") -> Damage:
    def damage(folder: Path) -> None:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)

    return damage


def copied(name: str, to: str) -> Damage:
    def damage(folder: Path) -> None:
        added(to, (folder / name).read_bytes())(folder)

    return damage


def removed(name: str) -> Damage:
    return lambda folder: (folder / name).unlink()


def both(*damages: Damage) -> Damage:
    def damage(folder: Path) -> None:
        for one in damages:
            one(folder)

    return damage


def with_part(name: str) -> Damage:
    def damage(folder: Path) -> None:
        with ZipFile(folder / "index.xlsx", "a") as book:
            book.writestr(name, b"")

    return damage


def sheet(name: str, was: str, becomes: str) -> Damage:
    """Change a text in a sheet of the workbook."""

    def damage(folder: Path) -> None:
        with ZipFile(folder / "index.xlsx") as book:
            parts = {one: book.read(one) for one in book.namelist()}
        place = re.findall(r'<sheet [^>]*name="([^"]*)"', parts["xl/workbook.xml"].decode()).index(name) + 1
        part = f"xl/worksheets/sheet{place}.xml"
        assert was.encode() in parts[part], f"{was} is not in {name}"
        parts[part] = parts[part].replace(was.encode(), becomes.encode(), 1)
        with ZipFile(folder / "index.xlsx", "w") as book:
            for one, data in parts.items():
                book.writestr(one, data)

    return damage


def swapped(folder: Path) -> None:
    one, other = ((folder / "pages" / f"{number}.pdf") for number in (FIRST, SECOND))
    kept = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(kept)


def linked(folder: Path) -> None:
    (folder / "readings.csv").rename(folder.parent / "elsewhere.csv")
    (folder / "readings.csv").symlink_to(folder.parent / "elsewhere.csv")


def manifest_again(folder: Path) -> None:
    """Make the manifest name what there is, as somebody would who changed it on purpose."""
    path = folder / "manifest.txt"
    if not path.is_file():
        return
    head = [line for line in path.read_text("utf-8", "replace").splitlines() if line[:1] == "#"]
    there = sorted(p for p in folder.rglob("*") if p.is_file() and p != path)
    told = [
        f"{hashlib.sha256(p.read_bytes()).hexdigest()}  {p.relative_to(folder).as_posix()}" for p in there
    ]
    path.write_text("\n".join([*head, *told]) + "\n", "utf-8")


def written_anew(altered: Callable[[list[dict[str, object]]], list[dict[str, object]]]) -> Damage:
    """Write the chain anew with its heads, as the owner of the book can: every entry names the one before."""

    def damage(folder: Path) -> None:
        entries = [json.loads(line) for line in (folder / CHAIN).read_bytes().splitlines()]
        before, told, digests = GENESIS, [], [GENESIS]
        for seq, entry in enumerate(altered(entries), 1):
            entry |= {"seq": seq, "prev": before}
            text = json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
            before = digest_of_entry(text)
            digests.append(before)
            told.append(text + b"\n")
        (folder / CHAIN).write_bytes(b"".join(told))
        heads = (folder / "heads.txt").read_text("utf-8")
        ends = sum(json.loads(line)["body"]["at"] < "2026-06" for line in told)
        heads = re.sub("end .*", f"end L1:{ends}:{digests[ends]}", heads)
        heads = re.sub("now .*", f"now L1:{len(told)}:{digests[-1]}", heads)
        (folder / "heads.txt").write_text(heads, "utf-8")

    return damage


def performed(entries: list[dict[str, object]], number: str) -> dict[str, object]:
    bodies = [entry["body"] for entry in entries]
    return next(
        b for b in bodies if isinstance(b, dict) and (b["event"], b["record"]) == ("performed", number)
    )


def passed(entries: list[dict[str, object]]) -> list[dict[str, object]]:
    """Let the record that failed have passed."""
    body = performed(entries, SECOND)
    body["outcomes"] = json.loads(json.dumps(body["outcomes"]).replace('"fail"', '"pass"'))
    return entries


def another_serial(entries: list[dict[str, object]]) -> list[dict[str, object]]:
    performed(entries, SECOND)["serial"] = "EL-9999"
    return entries


def unperformed(entries: list[dict[str, object]]) -> list[dict[str, object]]:
    """Take a record out altogether."""
    return [entry for entry in entries if dict(entry["body"])["record"] != FIRST]  # type: ignore[call-overload]


# ---------------------------------------------------------------- each is found


def index(was: str, becomes: str) -> Damage:
    """Change a cell in the line of the second record of the index."""

    def altered(before: list[bytes]) -> list[bytes]:
        place = next(n for n, line in enumerate(before) if line.startswith(SECOND.encode()))
        assert was.encode() in before[place], f"{was} is not in the line of {SECOND}"
        before[place] = before[place].replace(was.encode(), becomes.encode(), 1)
        return before

    return lines("index.csv", altered)


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
    ("a column", change("index.csv", "as found,", "as,"), f'{FIRST}: as found says "nothing"'),
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
    ("a line of the page", lambda folder: _cut_row(folder), f'index.html, {SECOND}: record says "nothing"'),
    ("a digest on the page", lambda folder: _other_digest(folder), "SHA-256 of the PDF says"),
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
        "a table of the page",
        lambda folder: _cut_table(folder),
        "index.html does not show the table of index.csv.",
    ),
    ("the workbook", sheet("Records", ">fail<", ">pass<"), 'row 3: as found says "pass", index.csv "fail".'),
    ("a check of the workbook", sheet("Checks", ">0.10<", ">0.30<"), 'high says "0.30", checks.csv "0.10".'),
    ("a row of the workbook", sheet("Plan", '<row r="3"', '<x r="3"'), "index.xlsx is no workbook as a pack"),
    (
        "a formula",
        sheet("Records", "<is><t>fail</t></is>", "<f>1+1</f>"),
        "index.xlsx is no workbook as a pack",
    ),
    ("a macro", with_part("xl/vbaProject.bin"), "index.xlsx is no workbook as a pack holds it"),
    ("no workbook", added("index.xlsx", b"PK"), "index.xlsx is no workbook as a pack holds it"),
    ("begin", without("heads.txt", "begin"), "heads.txt names no head of L1 for begin."),
    ("end", without("heads.txt", "end L1"), "heads.txt names no head of L1 for end."),
    ("now", without("heads.txt", "now"), "heads.txt names no head of L1 for now."),
    ("two ends", twice("heads.txt", "end L1"), "heads.txt names more than one head of L1 for end."),
    ("an earlier end", lambda folder: _earlier(folder, "end"), "by the times of the entries it is entry"),
    ("an earlier now", lambda folder: _earlier(folder, "now"), "of L1 came after the pack was made."),
    ("a part of a digest", lambda folder: _shortened(folder), "names only a part of the digest of L1."),
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
        lambda folder: _another_month(folder),
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
    ("swapped PDFs", swapped, f"{FIRST}: pages/{FIRST}.pdf is not the file that the chain names: changed."),
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
        lambda folder: _other_fingerprint(folder),
        "certificates.csv prints another fingerprint of",
    ),
    (
        "a fingerprint by hand",
        lambda folder: _by_hand(folder),
        "check_by_hand.html does not print the fingerprint",
    ),
]


def _cut_row(folder: Path) -> None:
    path = folder / "index.html"
    text = path.read_text("utf-8")
    rows = re.findall(r"<tr>.*?</tr>", text)
    path.write_text(text.replace(next(row for row in rows if SECOND in row), "", 1), "utf-8")


def _cut_table(folder: Path) -> None:
    path = folder / "index.html"
    text = path.read_text("utf-8")
    tables = re.findall(r"<table>.*?</table>", text)
    path.write_text(text.replace(next(t for t in tables if "as found</th>" in t), "", 1), "utf-8")


def _other_digest(folder: Path) -> None:
    digest = hashlib.sha256((folder / "pages" / f"{SECOND}.pdf").read_bytes()).hexdigest()
    change("index.html", digest, digest[::-1])(folder)


def _earlier(folder: Path, word: str) -> None:
    """Let a head name the entry before the one it names, with that entry's digest."""
    path = folder / "heads.txt"
    match = re.search(f"{word} L1:([0-9]+):.*", path.read_text("utf-8"))
    assert match is not None
    seq = int(match[1]) - 1
    line = (folder / CHAIN).read_bytes().splitlines()[seq - 1]
    change("heads.txt", match[0], f"{word} L1:{seq}:{digest_of_entry(line)}")(folder)


def _shortened(folder: Path) -> None:
    path = folder / "heads.txt"
    path.write_text(re.sub(r"(?m)^(now .{30}).*", r"\1", path.read_text("utf-8")), "utf-8")


def _another_month(folder: Path) -> None:
    path = folder / "heads.txt"
    text = path.read_text("utf-8").replace("2026-05", "2026-04")
    path.write_text(text.replace("to 2026-06", "to 2026-05"), "utf-8")


def _other_fingerprint(folder: Path) -> None:
    _exchange(folder, "certificates.csv")


def _by_hand(folder: Path) -> None:
    _exchange(folder, "check_by_hand.html")


def _exchange(folder: Path, name: str) -> None:
    line = next(
        row for row in (folder / "certificates.csv").read_text("utf-8").splitlines() if "authority.pem" in row
    )
    digest = re.search("[0-9a-f]{64}", line)
    assert digest is not None
    change(name, digest[0], digest[0][::-1])(folder)


@pytest.mark.parametrize(
    ("damage", "sentence"), [each[1:] for each in ALTERED], ids=[each[0] for each in ALTERED]
)
def test_each_alteration_is_said(pack: Path, damage: Damage, sentence: str) -> None:
    damage(pack)
    manifest_again(pack)
    bad = check(pack, []).bad
    assert any(sentence in said for said in bad), bad
    assert all("\n" not in said for said in bad)


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
