"""Check an audit pack without wqverify: run it in the folder of the pack, `python -I verify_chains.py`.

It needs Python 3.8 or newer and nothing else, changes nothing and asks no network. It recomputes every
chain of the record book from its lines, compares the heads, the PDFs and the other files of the pack, and
says in plain sentences what holds and what does not. Heads that were kept outside the plant's computer may
be named as well: `python -I verify_chains.py L1:94:0a1b...`. Exit code 0: all holds; 1: something does not.
"""

from __future__ import annotations

import csv
import hashlib
import json
import re
import sys
import zlib
from pathlib import Path
from typing import Any

PREFIX = b"wqverify-book-1\n"  # stands before the text of an entry when its digest is made
GENESIS = "0" * 64  # what the first entry of a chain follows
HEAD = re.compile(r"([A-Za-z0-9]{1,12}):([0-9]{1,15}):([0-9a-fA-F]{16,64})")
ATTACHED = re.compile(rb"<<[^<>]*/Type\s*/EmbeddedFile")  # begins a file attached to a PDF
Head = Any  # (which, chain, seq, digest)
NOT_JSON = (ValueError, KeyError, TypeError, AttributeError, RecursionError)
# What is kept of an entry.
SAID = ("event", "record", "performed", "pdf", "stored", "by", "certificate", "withdrawn_list")
KEYS = ("authority made", "key issued", "key withdrawn")
BLOCK = 1 << 20

CANNOT_SEE = (
    "Whether every visit was entered: a visit that nobody ran left no trace here.",
    "Whether the times are right: they are those of the plant's computer.",
    "Who was at the keyboard: that is what the signatures are for; a PDF reader shows them.",
    "Entries removed from the end, or a chain written anew, unless a head kept outside the plant's computer "
    "is named; the heads in heads.txt came with this pack and could have been changed with it.",
    "Whether the plant's certificate is the plant's: compare its fingerprint with the plant by another way.",
    "Whether the index and the tables say what the PDFs say: only the manifest holds them, and it came with "
    "this pack; what counts is the PDF.",
    "Whether the numbers are right: check_by_hand.html shows how to recompute one.",
)


class Chain:
    """One chain as its lines tell it: the digest of each entry, and what the entries say of records."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.digests: dict[int, str] = {0: GENESIS}
        self.last = 0
        self.bodies: list[Any] = []


class Report:
    """What holds and what does not, in sentences."""

    def __init__(self) -> None:
        self.good: list[str] = []
        self.bad: list[str] = []


# ---------------------------------------------------------------- the chains


def digest_of_entry(line: bytes) -> str:
    """Return the digest of the text of an entry.

    >>> digest_of_entry(b"{}")[:16]
    '8c5bc4a9c1588037'
    """
    return hashlib.sha256(PREFIX + line).hexdigest()


def read_chain(path: Path, report: Report) -> Chain | None:
    """Walk along the lines of a chain: each names the digest of the one before it."""
    chain: Chain | None = None
    before = len(report.bad)
    with path.open("rb") as stream:  # a book of many years is long: one line at a time
        for number, line in enumerate((line.rstrip(b"\n") for line in stream), 1):
            entry = parsed(line)
            if entry is None:
                name = chain.name if chain else path.name
                report.bad.append(f"Entry {number} of {name} is not the text of an entry: it was altered.")
                if chain:
                    chain.last += 1
                    chain.digests[chain.last] = digest_of_entry(line)
                continue
            if chain is None:
                chain = Chain(entry["chain"])
            follow(chain, entry, line, report)
    if chain is None:
        report.bad.append(f"{path.name} holds no entry.")
    elif len(report.bad) == before:
        count = f"{chain.last} entr{'y' if chain.last == 1 else 'ies'}"
        report.good.append(f"Chain {chain.name}: {count}, each names the digest before it.")
    return chain


def parsed(line: bytes) -> Any:
    """Return what a line says, None where it is no entry."""
    try:
        entry = json.loads(line.decode("utf-8"))
        body = entry["body"]
        words = [entry["chain"], entry["prev"], body["event"], body["record"], body["at"]]
        kept = [body.get(word) or "" for word in SAID]
        if all(isinstance(word, str) for word in (*words, *kept)) and isinstance(entry["seq"], int):
            return entry
    except NOT_JSON:
        pass
    return None


def follow(chain: Chain, entry: Any, line: bytes, report: Report) -> None:
    """Compare one entry with the one before it."""
    seq, name = entry["seq"], chain.name
    if entry["chain"] != name:
        report.bad.append(f"An entry of another chain ({entry['chain']}) stands among those of {name}.")
        return
    if seq > chain.last + 1:
        report.bad.append(f"{missing(chain.last + 1, seq - 1)} of {name} cannot be found: removed.")
    elif seq <= chain.last:
        report.bad.append(f"Entry {seq} of {name} stands after entry {chain.last}: the order was changed.")
    elif entry["prev"] != chain.digests[chain.last]:
        before = f"entry {chain.last}" if chain.last else "the beginning"
        report.bad.append(
            f"Entry {seq} of {name} does not follow {before}: one of the two was altered, or what was "
            f"between them was removed and the rest numbered again."
        )
    chain.last = seq
    chain.digests[seq] = digest_of_entry(line)
    kept = {word: entry["body"].get(word) for word in SAID}
    facts = entry["body"].get("facts")
    facts = facts if isinstance(facts, dict) else {}
    chain.bodies.append({**kept, "month": facts.get("month"), "answers": str(facts.get("answers", ""))})


def missing(first: int, last: int) -> str:
    """Return which entries are missing, in words.

    >>> missing(3, 3), missing(3, 5)
    ('Entry 3', 'Entries 3 to 5')
    """
    return f"Entry {first}" if first == last else f"Entries {first} to {last}"


# ---------------------------------------------------------------- the heads


def read_heads(path: Path, report: Report) -> tuple[str, list[Head]]:
    """Return the month and the heads that the pack names: (which, chain, seq, digest)."""
    month = ""
    heads: list[Head] = []
    try:
        lines = path.read_text("utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        report.bad.append("heads.txt is missing or cannot be read: the chains were compared with no head.")
        return month, heads
    for line in lines:
        word, _, rest = line.strip().partition(" ")
        match = HEAD.fullmatch(rest.strip())
        if word == "month" and re.fullmatch(r"[0-9]{4}-[0-9]{2}", rest.strip()):
            month = rest.strip()
        elif match and word in ("begin", "end", "now"):
            heads.append((f"heads.txt ({word})", match[1], int(match[2]), match[3]))
        elif line.strip() and not line.startswith("#"):
            report.bad.append(f"heads.txt holds a line that says nothing: {line.strip()[:60]}")
    if not month:
        report.bad.append("heads.txt names no month: which records belong to the pack is not known.")
    return month, heads


def compare_heads(chains: dict[str, Chain], heads: list[Head], report: Report) -> None:
    """Compare heads with the chains; what a head names must be there, and be the same."""
    for which, name, seq, told in heads:
        chain = chains.get(name)
        if chain is None:
            if seq:
                report.bad.append(f"{which} names entry {seq} of {name}: that chain is not in the pack.")
        elif seq > chain.last:
            lost = missing(chain.last + 1, seq)
            report.bad.append(f"{lost} of {name} cannot be found, cut off at the end: {which} names {seq}.")
        elif not chain.digests.get(seq, "").startswith(told.lower()):
            report.bad.append(f"Entry {seq} of {name} is not the one that {which} names: it was altered.")
        else:
            report.good.append(f"{which}: entry {seq} of {name} is the one named.")
    ends = {name: seq for which, name, seq, _ in heads if which == "heads.txt (now)"}
    for name, chain in sorted(chains.items()):
        if name not in ends:
            report.bad.append(f"heads.txt names no newest entry of {name}.")
        elif chain.last > ends[name]:
            report.bad.append(
                f"{missing(ends[name] + 1, chain.last)} of {name} came after the pack was made."
            )


# ---------------------------------------------------------------- the PDFs


def records_of(chains: dict[str, Chain], month: str) -> dict[str, Any]:
    """Return what the chains say of the records of a month, and of later ones about it: their digests.

    Later ones are those that judge this month, and those that answer a record of it.
    """
    found: dict[str, Any] = {}
    performed = [(name, body) for name, body in bodies_of(chains) if body["event"] == "performed"]
    begun = {body["record"] for _, body in performed if str(body["performed"]).startswith(month)}
    for name, body in performed:
        about = body["month"] == month or begun.intersection(body["answers"].split(", "))
        if body["record"] in begun or about:
            found[body["record"]] = {"home": name, "files": [], "stored": body["stored"]}
    for name, body in bodies_of(chains):
        known = found.get(body["record"])
        if known is not None and isinstance(body["pdf"], str):
            known["files"].append((body["event"] != "performed", name != known["home"], body["pdf"]))
    for known in found.values():  # as it was performed first, then the chain of its device, then others
        known["pdfs"] = [pdf for _, _, pdf in sorted(known["files"], key=lambda each: each[:2])]
    return found


def bodies_of(chains: dict[str, Chain]) -> list[Any]:
    """Return the name of its chain and the body of each entry."""
    return [(name, body) for name in sorted(chains) for body in chains[name].bodies]


def names_in_index(folder: Path) -> dict[str, tuple[str, str]]:
    """Return what index.csv says of the PDF of each record: its name, and how it compared with the book."""
    try:
        with (folder / "index.csv").open(encoding="utf-8-sig", newline="") as stream:
            return {
                row["record"]: (row["PDF"], row["PDF against the book"]) for row in csv.DictReader(stream)
            }
    except (OSError, csv.Error, *NOT_JSON):
        return {}


def check_pdfs(folder: Path, chains: dict[str, Chain], month: str, report: Report) -> None:
    """Compare the PDFs with the digests that the chains name; missing and extra ones are named."""
    expected, named = records_of(chains, month), names_in_index(folder)
    there = {path.name: path for path in sorted((folder / "pages").glob("*")) if path.is_file()}
    same, agreeing = 0, 0
    for number in sorted(expected):
        name, told = named.get(number, ("", ""))
        path = there.pop(name or f"{number}.pdf", None)
        before = len(report.bad)
        agreeing += check_pdf(number, expected[number], path, chains, report)
        if len(report.bad) == before:
            same += 1
        elif told and told != "as in the book":
            report.bad[-1] += f" It was so when the pack was made: {told}"
    for name in sorted(there):
        report.bad.append(f"pages/{name} is extra: the chains name no such record of {month}.")
    report.good.append(f"{same} of {len(expected)} PDFs of {month} are the files that the chains name.")
    report.good.append(
        f"{agreeing} of {len(expected)} PDFs hold inside them the digest of the entry before them, and "
        f"it is the one in the chain."
    )


def check_pdf(number: str, known: Any, path: Path | None, chains: dict[str, Chain], report: Report) -> bool:
    """Check one PDF; returns whether the digest it holds of the entry before it agrees with the chain."""
    if path is None:
        report.bad.append(f"{number}: its PDF is missing from pages/.")
        return False
    data = path.read_bytes()
    digest, pdfs = hashlib.sha256(data).hexdigest(), known["pdfs"]
    if not pdfs or digest != pdfs[-1]:
        what = "an older copy, before the last signature" if digest in pdfs else "changed"
        report.bad.append(f"{number}: pages/{path.name} is not the file that the chain names: {what}.")
    record = record_in(data, known["stored"])
    if record is None:
        report.bad.append(f"{number}: the record.json that the chain names is not in pages/{path.name}.")
        return False
    return previous_agrees(number, record, chains, report)


def record_in(pdf: bytes, stored: str) -> Any:
    """Return the attached record.json with this digest, None where the PDF holds none."""
    for match in ATTACHED.finditer(pdf):
        start = re.compile(rb"stream\r?\n").search(pdf, match.end())
        if start is None:
            continue
        try:
            data = zlib.decompressobj().decompress(pdf[start.end() :])
        except zlib.error:
            continue
        if hashlib.sha256(data).hexdigest() == stored:
            try:
                return json.loads(data.decode("utf-8"))
            except NOT_JSON:
                return None
    return None


def previous_agrees(number: str, record: Any, chains: dict[str, Chain], report: Report) -> bool:
    """Compare the digest that a record holds of the entry before it with the chain."""
    try:
        previous = record["previous"]
        chain, seq, told = chains.get(previous["chain"]), previous["seq"], previous["digest"]
    except NOT_JSON:
        report.bad.append(f"{number}: its record does not say which entry came before it.")
        return False
    if chain is not None and chain.digests.get(seq) == told:
        return True
    report.bad.append(
        f"{number}: its PDF names entry {seq} of {previous['chain']} with another digest: the chain was "
        f"written anew, or that entry is missing."
    )
    return False


# ---------------------------------------------------------------- the certificates


def check_certificates(folder: Path, chains: dict[str, Chain], report: Report) -> None:
    """Compare certificates and withdrawal list with the digests that the chains name."""
    expected = certificates_told(chains)
    there = {path: digest_of_file(path) for path in sorted((folder / "certificates").glob("*"))}
    before = len(report.bad)
    for name in sorted(expected):
        if expected[name].isdisjoint(there.values()):
            what = name if name.startswith("the ") else f"the certificate of {name}"
            report.bad.append(f"certificates/ does not hold {what} that the chains name.")
    for path, digest in there.items():
        if not any(digest in digests for digests in expected.values()):
            report.bad.append(f"certificates/{path.name} is not one that the chains name.")
    if len(report.bad) == before:
        report.good.append(f"{len(expected)} certificates and lists are those that the chains name.")


def certificates_told(chains: dict[str, Chain]) -> dict[str, set[str]]:
    """Return of each certificate the digests it may have: of keys in force, of the newest lists."""
    told = [(chain, body) for chain, body in bodies_of(chains) if body["event"] in KEYS]
    gone = {body["certificate"] for _, body in told if body["event"] == "key withdrawn"}
    expected: dict[str, set[str]] = {}
    for _, body in told:
        expected.setdefault(str(body["by"]), set()).add(body["certificate"])
    for name in expected:
        expected[name] = expected[name] - gone or expected[name]
    if told:
        expected["the withdrawal list"] = set(
            {chain: body["withdrawn_list"] for chain, body in told}.values()
        )
    return expected


# ---------------------------------------------------------------- the other files


def check_manifest(folder: Path, report: Report) -> None:
    """Compare every file with the manifest."""
    try:
        lines = (folder / "manifest.txt").read_text("utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        report.bad.append("manifest.txt is missing or cannot be read: the other files were not compared.")
        return
    pairs = [line.split("  ", 1) for line in lines if line[:1] != "#" and "  " in line]
    told = {name: digest for digest, name in pairs}
    there = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    there.pop("manifest.txt", None)
    before = len(report.bad)
    for name in sorted(told.keys() | there.keys()):
        if name not in there:
            report.bad.append(f"{name} is in the manifest and missing in the pack.")
        elif name not in told:
            report.bad.append(f"{name} is in the pack and not in the manifest: it is extra.")
        elif digest_of_file(there[name]) != told[name].lower():
            report.bad.append(f"{name} is not the file that the manifest names: it was changed.")
    if len(report.bad) == before:
        report.good.append(f"{len(told)} files are those of the manifest, which came with this pack.")


def digest_of_file(path: Path) -> str:
    """Return the SHA-256 of a file, read block by block."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        for block in iter(lambda: stream.read(BLOCK), b""):
            digest.update(block)
    return digest.hexdigest()


# ---------------------------------------------------------------- all of it


def check(folder: Path, outside: list[Head]) -> Report:
    """Return the report on a pack; ``outside`` are heads kept elsewhere, as (which, chain, seq, digest)."""
    report = Report()
    chains: dict[str, Chain] = {}
    for path in sorted((folder / "chains").glob("*.txt")):
        chain = read_chain(path, report)
        if chain is not None:
            chains[chain.name] = chain
    month, heads = read_heads(folder / "heads.txt", report)
    compare_heads(chains, [*heads, *outside], report)
    if month:
        check_pdfs(folder, chains, month, report)
    check_certificates(folder, chains, report)
    check_manifest(folder, report)
    return report


def say(line: str = "") -> None:
    """Print a line that any console can show; nothing in it steers the console."""
    print("".join(c if " " <= c <= "~" else ascii(c)[1:-1] for c in line))


def tell(report: Report, compared: bool) -> None:
    """Print what was found."""
    say("DOES NOT HOLD" if report.bad else "Nothing was found that does not hold.")
    for line in report.bad:
        say(f"  - {line}")
    say()
    say("HOLDS")
    for line in report.good:
        say(f"  - {line}")
    say()
    say("CANNOT BE SEEN FROM THIS PACK")
    for line in CANNOT_SEE:
        say(f"  - {line}")
    if not compared:
        say()
        say(
            "No head kept outside the plant's computer was named: python -I verify_chains.py CHAIN:SEQ:DIGEST"
        )


def main(arguments: list[str]) -> int:
    """Check the pack this file lies in."""
    outside: list[Head] = []
    for text in arguments:
        match = HEAD.fullmatch(text)
        if not match:
            say(f"{text[:80]} is not a head; name it as CHAIN:SEQ:DIGEST, such as L1:94:0a1b2c3d4e5f6071.")
            return 1
        if not int(match[2]):
            say(f"{text[:80]} is the head of an empty chain: it holds nothing to compare with.")
            return 1
        outside.append(("the head you named", match[1], int(match[2]), match[3]))
    try:
        report = check(Path(__file__).resolve().parent, outside)
    except OSError as problem:
        say(f"A file of the pack cannot be read: {problem.filename or ''} {problem.strerror or problem}")
        return 1
    tell(report, bool(outside))
    return 1 if report.bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
