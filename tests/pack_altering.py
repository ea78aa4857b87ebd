"""How somebody alters a pack: each function gives or makes one alteration."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from pathlib import Path
from zipfile import ZipFile

from pack_example import FIRST, SECOND

from wqverify.pack.script.chain import GENESIS, digest_of_entry

Damage = Callable[[Path], None]
CHAIN = "chains/chain-L1.txt"


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


def index(was: str, becomes: str) -> Damage:
    """Change a cell in the line of the second record of the index."""

    def altered(before: list[bytes]) -> list[bytes]:
        place = next(n for n, line in enumerate(before) if line.startswith(SECOND.encode()))
        assert was.encode() in before[place], f"{was} is not in the line of {SECOND}"
        before[place] = before[place].replace(was.encode(), becomes.encode(), 1)
        return before

    return lines("index.csv", altered)


def cut_row(folder: Path) -> None:
    path = folder / "index.html"
    text = path.read_text("utf-8")
    rows = re.findall(r"<tr>.*?</tr>", text)
    path.write_text(text.replace(next(row for row in rows if f">{SECOND}</td>" in row), "", 1), "utf-8")


def cut_table_row(path: Path, rows: list[dict[str, str]], place: str) -> int:
    """Take the first or last row out of the long table of a page under these heads; returns how many."""
    text, heads = path.read_text("utf-8"), list(rows[0])
    tables = re.findall(r"<table>.*?</table>", text)
    (table,) = [
        one
        for one in tables
        for shown in [re.findall(r"<th\b[^>]*>(.*?)</th>", one)]
        if shown[:1] == heads[:1] and {*shown} < {*heads} and len(shown) > 4
    ]
    lines = re.findall(r"<tr>.*?</tr>", table)
    gone = lines[1] if place == "first" else lines[-1]
    path.write_text(text.replace(table, table.replace(gone, "", 1), 1), "utf-8")
    return len(lines) - 1


def other_order(folder: Path) -> None:
    """Let the last row of the first long table of the page stand first."""
    path = folder / "index.html"
    text = path.read_text("utf-8")
    table = next(t for t in re.findall(r"<table>.*?</table>", text) if "as found</th>" in t)
    lines = re.findall(r"<tr>.*?</tr>", table)
    again = table.replace(lines[-1], "", 1).replace(lines[1], lines[-1] + lines[1], 1)
    path.write_text(text.replace(table, again, 1), "utf-8")


def cut_table(folder: Path) -> None:
    path = folder / "index.html"
    text = path.read_text("utf-8")
    tables = re.findall(r"<table>.*?</table>", text)
    path.write_text(text.replace(next(t for t in tables if "as found</th>" in t), "", 1), "utf-8")


def other_digest(folder: Path) -> None:
    digest = hashlib.sha256((folder / "pages" / f"{SECOND}.pdf").read_bytes()).hexdigest()
    change("index.html", digest, digest[::-1])(folder)


def earlier(folder: Path, word: str) -> None:
    """Let a head name the entry before the one it names, with that entry's digest."""
    path = folder / "heads.txt"
    match = re.search(f"{word} L1:([0-9]+):.*", path.read_text("utf-8"))
    assert match is not None
    seq = int(match[1]) - 1
    line = (folder / CHAIN).read_bytes().splitlines()[seq - 1]
    change("heads.txt", match[0], f"{word} L1:{seq}:{digest_of_entry(line)}")(folder)


def head_shown(folder: Path) -> None:
    match = re.search("now L1:[0-9]+:([0-9a-f]+)", (folder / "heads.txt").read_text("utf-8"))
    assert match is not None
    change("index.html", match[1], match[1][::-1])(folder)


def digest_by_hand(folder: Path) -> None:
    """Print another digest where a file is to be checked by it."""
    match = re.search("It must give ([0-9a-f]{64})", (folder / "check_by_hand.html").read_text("utf-8"))
    assert match is not None
    change("check_by_hand.html", match[1], "0123456789abcdef" * 4)(folder)


def shortened(folder: Path) -> None:
    path = folder / "heads.txt"
    path.write_text(re.sub(r"(?m)^(now .{30}).*", r"\1", path.read_text("utf-8")), "utf-8")


def another_month(folder: Path) -> None:
    path = folder / "heads.txt"
    text = path.read_text("utf-8").replace("2026-05", "2026-04")
    path.write_text(text.replace("to 2026-06", "to 2026-05"), "utf-8")


def other_fingerprint(folder: Path) -> None:
    exchange(folder, "certificates.csv")


def by_hand(folder: Path) -> None:
    exchange(folder, "check_by_hand.html")


def exchange(folder: Path, name: str) -> None:
    line = next(
        row for row in (folder / "certificates.csv").read_text("utf-8").splitlines() if "authority.pem" in row
    )
    digest = re.search("[0-9a-f]{64}", line)
    assert digest is not None
    change(name, digest[0], digest[0][::-1])(folder)
