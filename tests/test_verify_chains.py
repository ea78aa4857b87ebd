"""The script in a pack, run as an auditor runs it: Python alone, isolated, without any package."""

from __future__ import annotations

import ast
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from pack_example import FIRST, SECOND

from wqverify.book import open_book
from wqverify.pack.script import script
from wqverify.pack.script.chain import GENESIS, Chain, digest_of_entry, follow, parsed
from wqverify.pack.script.pdfs import records_of
from wqverify.pack.script.reading import rows_of
from wqverify.pack.script.record_tables import inert
from wqverify.pack.script.said import Report
from wqverify.pack.script.whole import main as main_of_script
from wqverify.pack.spreadsheet import csv_text
from wqverify.pack.spreadsheet import inert as inert_of_the_tables
from wqverify.pack.tables import Head, Sheet
from wqverify.plant.folder import open_plant

pytestmark = pytest.mark.slow
Damage = Callable[[Path], None]
CHAIN = "chains/chain-L1.txt"


@pytest.fixture(scope="module")
def packed(packed_month: Path) -> tuple[Path, str]:
    """A good pack, and its newest head as the plant may have told it."""
    plant = open_plant(packed_month / "plant")
    seq, digest = open_book(plant.book, plant.device).heads()["L1"]
    return packed_month / "pack", f"L1:{seq}:{digest}"


@pytest.fixture
def pack(packed: tuple[Path, str], tmp_path: Path) -> Path:
    return Path(shutil.copytree(packed[0], tmp_path / "pack"))


def run(folder: Path, *heads: str) -> tuple[int, str]:
    """Run the script of a pack as `python -I -S verify_chains.py`."""
    script = str(folder / "verify_chains.py")
    done = subprocess.run([sys.executable, "-I", "-S", script, *heads], capture_output=True, text=True)
    assert done.stderr == ""
    return done.returncode, done.stdout


def lines_of(folder: Path) -> list[bytes]:
    return (folder / CHAIN).read_bytes().splitlines(keepends=True)


def write_lines(folder: Path, lines: list[bytes]) -> None:
    (folder / CHAIN).write_bytes(b"".join(lines))


def manifest_again(folder: Path) -> None:
    """Make the manifest agree with the files, as somebody would who changed them on purpose."""
    path = folder / "manifest.txt"
    told = []
    for line in path.read_text("utf-8").splitlines():
        name = line.partition("  ")[2]
        if not line.startswith("#") and (folder / name).is_file():
            line = f"{hashlib.sha256((folder / name).read_bytes()).hexdigest()}  {name}"
        told.append(line)
    path.write_text("\n".join(told) + "\n", "utf-8")


def entry_of(lines: list[bytes], event: str, number: str) -> int:
    """Return the place of the entry of a record."""
    said = [json.loads(line)["body"] for line in lines]
    return next(n for n, body in enumerate(said) if (body["event"], body["record"]) == (event, number))


def test_a_good_pack_holds(packed: tuple[Path, str]) -> None:
    code, said = run(packed[0])
    assert code == 0
    assert said.startswith("Nothing was found that does not hold.")
    assert "2 of 2 PDFs of 2026-05 and about it are the files that the chains name." in said
    assert "2 of 2 PDFs hold inside them the digest of the entry before them" in said
    count = len(lines_of(packed[0]))
    assert f"Chain L1: {count} entries, each names the digest before it." in said
    assert "CANNOT BE SEEN FROM THIS PACK" in said
    assert "No head kept outside the plant's computer was named" in said


def test_a_head_kept_outside_is_compared(packed: tuple[Path, str]) -> None:
    folder, head = packed
    code, said = run(folder, head)
    assert code == 0
    assert "the head you named: entry" in said
    chain, seq, digest = head.split(":")
    other = digest[:10] + ("0" if digest[10] != "0" else "1") + digest[11:]
    code, said = run(folder, f"{chain}:{seq}:{other}")
    assert code == 1
    assert f"Entry {seq} of L1 is not the one that the head you named names: it was altered." in said
    code, said = run(folder, f"{chain}:{int(seq) + 2}:{digest}")
    assert code == 1
    assert f"Entries {int(seq) + 1} to {int(seq) + 2} of L1 cannot be found, cut off at the end" in said
    assert run(folder, "L9:3:" + "ab" * 32)[0] == 1
    code, said = run(folder, "yesterday")
    assert (code, said.count("\n")) == (1, 1)
    assert "is not a head" in said


@pytest.mark.parametrize(("digits", "enough"), [(1, False), (15, False), (16, True), (64, True), (65, False)])
def test_a_head_says_how_many_digits_are_wanted(packed: tuple[Path, str], digits: int, enough: bool) -> None:
    chain, seq, digest = packed[1].split(":")
    code, said = run(packed[0], f"{chain}:{seq}:{(digest * 2)[:digits]}")
    assert code == (0 if enough else 1)
    wanted = f"names {digits} digits of a digest: 16 are wanted at least, 64 at most."
    assert (wanted in said) is (digits < 16)


def test_a_head_that_came_with_the_pack_is_no_proof(packed: tuple[Path, str]) -> None:
    folder, head = packed
    shows = "that shows something only if it came from elsewhere, not out of this pack."
    assert f"heads.txt names it too (now): {shows}" in run(folder, head)[1]
    first = digest_of_entry(lines_of(folder)[0].rstrip())
    code, said = run(folder, f"L1:1:{first}")
    assert (code, "entry 1 of L1 is the one named." in said, shows in said) == (0, True, False)
    for page in ("check_by_hand.html", "check_by_hand.txt"):
        text = (folder / page).read_text("utf-8")
        assert "verify_chains.py CHAIN:SEQ:DIGEST" in " ".join(text.split())
        assert head not in text


def test_letters_are_printed_where_the_console_has_them(pack: Path) -> None:
    index = pack / "index.csv"
    index.write_bytes(index.read_bytes().replace("\u2014".encode(), "Zo\u00eb\u202e".encode(), 1))
    said = {}
    for code in ("utf-8", "ascii"):
        command = [sys.executable, str(pack / "verify_chains.py")]
        env = {**os.environ, "PYTHONIOENCODING": code}
        done = subprocess.run(command, capture_output=True, env=env)
        assert done.stderr == b""
        said[code] = done.stdout.decode(code)
    assert 'says "Zo\u00eb\\u202e", its record and the chains nothing.' in said["utf-8"]
    assert 'says "Zo\\xeb\\u202e", its record and the chains nothing.' in said["ascii"]


def flip_in_pdf(folder: Path) -> None:
    path = folder / "pages" / f"{FIRST}.pdf"
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))


def alter_entry(folder: Path) -> None:
    lines = lines_of(folder)
    place = entry_of(lines, "performed", SECOND)
    assert b'"fail"' in lines[place]
    lines[place] = lines[place].replace(b'"fail"', b'"pass"')
    write_lines(folder, lines)


def remove_entry(folder: Path) -> None:
    lines = lines_of(folder)
    del lines[entry_of(lines, "returned with a question", SECOND)]
    del lines[2]
    write_lines(folder, lines)


def cut_the_end(folder: Path) -> None:
    write_lines(folder, lines_of(folder)[:-3])


def remove_pdf(folder: Path) -> None:
    (folder / "pages" / f"{SECOND}.pdf").unlink()


def add_pdf(folder: Path) -> None:
    shutil.copy(folder / "pages" / f"{FIRST}.pdf", folder / "pages" / "L1-2026-0099.pdf")


def older_copy(folder: Path) -> None:
    """Cut the countersignature off: what was there before it is the beginning of the file."""
    path = folder / "pages" / f"{FIRST}.pdf"
    data = path.read_bytes()
    ends = [n for n in range(len(data)) if data.startswith(b"%%EOF\n", n)]
    path.write_bytes(data[: ends[-2] + len(b"%%EOF\n")])


DAMAGES: list[tuple[Damage, str]] = [
    (flip_in_pdf, f"{FIRST}: pages/{FIRST}.pdf is not the file that the chain names: changed."),
    (older_copy, f"{FIRST}: pages/{FIRST}.pdf is not the file that the chain names: an older copy"),
    (alter_entry, "does not follow entry"),
    (remove_entry, "Entry 3 of L1 cannot be found: removed."),
    (cut_the_end, "of L1 cannot be found, cut off at the end: heads.txt (now) names"),
    (remove_pdf, f"{SECOND}: its PDF is missing from pages/."),
    (add_pdf, "pages/L1-2026-0099.pdf is extra: the chains name no such record of 2026-05."),
]


@pytest.mark.parametrize("in_the_manifest", [True, False], ids=["manifest as well", "manifest left"])
@pytest.mark.parametrize(("damage", "sentence"), DAMAGES, ids=lambda one: getattr(one, "__name__", ""))
def test_each_damage_is_named(pack: Path, damage: Damage, sentence: str, in_the_manifest: bool) -> None:
    damage(pack)
    if in_the_manifest:
        manifest_again(pack)
    code, said = run(pack)
    assert code == 1
    assert said.startswith("DOES NOT HOLD")
    assert sentence in said.partition("HOLDS")[0]


def exchange_a_certificate(folder: Path) -> None:
    for name in ("authority.pem", "authority.cer"):
        shutil.copy(folder / "certificates" / "T-11.pem", folder / "certificates" / name)


def add_a_certificate(folder: Path) -> None:
    (folder / "certificates" / "T-99.pem").write_bytes(b"another")


def empty_the_withdrawal_list(folder: Path) -> None:
    (folder / "certificates" / "withdrawn.crl").write_bytes(b"")


@pytest.mark.parametrize(
    ("damage", "sentence"),
    [
        (
            exchange_a_certificate,
            "certificates/ does not hold the certificate of authority that the chains name.",
        ),
        (add_a_certificate, "certificates/T-99.pem is not one that the chains name."),
        (empty_the_withdrawal_list, "certificates/ does not hold the withdrawal list that the chains name."),
    ],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_certificates_are_compared_with_the_chains(pack: Path, damage: Damage, sentence: str) -> None:
    assert "5 certificates and lists are those that the chains name." in run(pack)[1]
    damage(pack)
    manifest_again(pack)
    code, said = run(pack)
    assert code == 1
    assert sentence in said


def relink(lines: list[bytes]) -> list[bytes]:
    """Write a chain anew, as its owner can: every entry names the one before it."""
    told, before = [], GENESIS
    for seq, line in enumerate(lines, 1):
        entry = json.loads(line) | {"seq": seq, "prev": before}
        text = json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
        before = digest_of_entry(text)
        told.append(text + b"\n")
    return told


def heads_again(pack: Path, lines: list[bytes]) -> None:
    path = pack / "heads.txt"
    now = f"now L1:{len(lines)}:{digest_of_entry(lines[-1].rstrip())}"
    kept = [line for line in path.read_text("utf-8").splitlines() if not line.startswith("now")]
    path.write_text("\n".join([*kept, now]) + "\n", "utf-8")


def test_a_chain_written_anew_is_betrayed_by_the_pdfs(pack: Path) -> None:
    lines = lines_of(pack)
    del lines[2]  # before the first record
    lines = relink(lines)
    write_lines(pack, lines)
    heads_again(pack, lines)
    manifest_again(pack)
    code, said = run(pack)
    assert code == 1
    assert "with another digest: the chain was written anew" in said
    assert "0 of 2 PDFs hold inside them" in said


@pytest.mark.parametrize(
    "name", ["index.csv", "readings.csv", "check_by_hand.html", "certificates/authority.pem"]
)
def test_other_files_are_compared_with_the_manifest(pack: Path, name: str) -> None:
    with (pack / name).open("ab") as stream:
        stream.write(b" ")
    code, said = run(pack)
    assert code == 1
    assert f"{name} is not the file that the manifest names: it was changed." in said


HOSTILE = [
    b"[" * 100_000,
    b"\xff\xfe\x00",
    b'{"seq":1}',
    b'{"body":[],"chain":1,"prev":2,"seq":"3"}',
    b"1" * 5000,
    b'{"body":{"event":"performed","record":"x","at":"","performed":[]},"chain":"L1","prev":"","seq":3}',
]


@pytest.mark.parametrize("line", HOSTILE, ids=range(len(HOSTILE)))
def test_no_line_of_a_chain_ends_in_a_traceback(pack: Path, line: bytes) -> None:
    lines = lines_of(pack)
    lines[2] = line + b"\n"
    write_lines(pack, lines)
    assert run(pack)[0] == 1


@pytest.mark.parametrize("name", ["heads.txt", "manifest.txt", "index.csv", CHAIN])
@pytest.mark.parametrize("data", [None, b"", b"\xff\x00 nonsense\n", b"now L1:1:zz\nmonth May\n"])
def test_a_missing_or_broken_file_is_told(pack: Path, name: str, data: bytes | None) -> None:
    (pack / name).unlink()
    if data is not None:
        (pack / name).write_bytes(data)
    assert run(pack)[0] == 1


def test_the_script_needs_python_3_8_and_its_standard_library() -> None:
    tree = ast.parse(script(), feature_version=(3, 8))
    used = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            used |= {alias.name.split(".")[0] for alias in node.names}
        if isinstance(node, ast.ImportFrom):
            used.add(str(node.module).split(".")[0])
    assert used <= sys.stdlib_module_names
    assert not used & {"socket", "urllib", "http", "subprocess", "os"}  # it reads the pack and prints
    runs = [ast.unparse(n) for n in tree.body if isinstance(n, ast.Assign)]
    for node in ast.walk(tree):  # what runs, runs in 3.8: such an annotation is quoted, and never looked at
        if isinstance(node, ast.FunctionDef):
            told = [node.returns, *(one.annotation for one in node.args.args)]
            runs += [
                ast.unparse(one) for one in told if one is not None and not isinstance(one, ast.Constant)
            ]
    assert not re.search(r"\b(dict|list|set|tuple)\[| \| None", " ".join(runs))


def test_nothing_is_imported_before_the_folder_of_the_pack_is_left_out() -> None:
    body = ast.parse(script()).body
    said = [ast.unparse(node).split("\n")[0] for node in body[1:4]]
    assert said[0] == "import sys"  # it is built in, and never looked for in a folder
    assert said[1].startswith("if __name__ == '__main__' and (not (sys.flags.isolated")
    assert said[2].startswith("import ")


def test_nothing_in_a_pack_steers_the_console(pack: Path) -> None:
    lines = lines_of(pack)
    lines.append(b'{"body":{"at":"","event":"x","record":""},"chain":"\x5cu001b[2J","prev":"","seq":1}\n')
    write_lines(pack, lines)
    code, said = run(pack)
    assert code == 1
    assert "\x1b" not in said
    assert "\\x1b[2J" in said


@pytest.mark.parametrize(
    ("facts", "belongs"),
    [
        ({}, False),
        ({"month": "2026-05"}, True),
        ({"month": "2026-04"}, False),
        ({"answers": "L1-2026-0001"}, True),
        ({"answers": "L1-2026-0009, L1-2026-0001"}, True),
        ({"answers": "L1-2026-0009"}, False),
        ("no facts", False),
    ],
)
def test_a_later_record_about_the_month_belongs_to_it(facts: object, belongs: bool) -> None:
    chain = Chain("L1")
    for seq, (performed, more) in enumerate((("2026-05-11T08:00", {}), ("2026-06-01T08:00", facts)), 1):
        body = {"event": "performed", "record": f"L1-2026-000{seq}", "performed": performed, "facts": more}
        entry = {"chain": "L1", "seq": seq, "prev": chain.digests[seq - 1], "body": body}
        follow(chain, entry, b"line", Report())
    found = records_of({"L1": chain}, "2026-05")
    assert sorted(found) == ["L1-2026-0001", *(["L1-2026-0002"] if belongs else [])]


def test_a_word_of_an_entry_that_is_no_text_is_an_altered_entry() -> None:
    body = {"event": "key issued", "record": "", "at": "2026-05-01T08:00-05:00", "by": "T-07"}
    entry = {"chain": "L1", "seq": 1, "prev": "0" * 64, "body": body}
    assert parsed(json.dumps(entry).encode()) is not None
    entry["body"] = {**body, "certificate": ["a"]}
    assert parsed(json.dumps(entry).encode()) is None


def test_the_head_of_an_empty_chain_is_no_head_to_compare_with(capsys: pytest.CaptureFixture[str]) -> None:
    assert main_of_script(["L9:0:0000000000000000"]) == 1
    assert "it holds nothing to compare with" in capsys.readouterr().out


@pytest.mark.parametrize(
    "typed", ["one\u2028two", "one\x85two", "one\x0ctwo", "one\ntwo", 'one "two", three', "=1+1"]
)
def test_whatever_was_typed_stays_one_cell(tmp_path: Path, typed: str) -> None:
    rows = [(typed, "next")]
    (tmp_path / "t.csv").write_bytes(
        csv_text(Sheet("t", "T", "T", (Head("a"), Head("b")), rows), "p").encode()
    )
    report = Report()
    found = rows_of(tmp_path, "t", report)
    assert (found, report.bad) == ([{"a": inert(typed), "b": "next", "plant": "p"}], [])
    assert inert(typed) == inert_of_the_tables(typed)


def test_who_reads_only_the_first_line_sees_no_traceback(packed: tuple[Path, str]) -> None:
    command = [sys.executable, "-u", "-I", "-S", str(packed[0] / "verify_chains.py")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        assert running.stderr.read() == b""
