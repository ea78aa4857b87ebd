"""The chains: each entry names the digest of the one before it."""

import hashlib
import json
import re
from datetime import datetime
from pathlib import Path
from typing import Any

from wqverify.pack.script.said import NOT_JSON, Report

PREFIX = b"wqverify-book-1\n"  # stands before the text of an entry when its digest is made
GENESIS = "0" * 64  # what the first entry of a chain follows
# What is kept of an entry.
SAID = (
    *("event", "record", "at", "performed", "pdf", "stored", "by", "certificate", "withdrawn_list"),
    *("tag", "serial", "procedure", "round", "by_record", "mode", "kept_at"),
)


class Chain:
    """One chain as its lines tell it: the digest of each entry, and what the entries say of records."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.digests: dict[int, str] = {0: GENESIS}
        self.last = 0
        self.bodies: list[Any] = []
        self.counts: dict[str, int] = {}  # records numbered in a year
        self.at = {"begin": 0, "end": 0}  # the newest entry before the month, and of it
        self.over = {"begin": False, "end": False}


def digest_of_entry(line: bytes) -> str:
    """Return the digest of the text of an entry.

    >>> digest_of_entry(b"{}")[:16]
    '8c5bc4a9c1588037'
    """
    return hashlib.sha256(PREFIX + line).hexdigest()


def read_chains(folder: Path, names: "list[str]", bounds: Any, report: Report) -> "dict[str, Chain]":
    """Return the chains of the pack by name; two files of one chain are told."""
    chains: dict[str, Chain] = {}
    for name in (each for each in names if each.startswith("chains/")):
        try:
            chain = read_chain(folder / name, name, bounds, report)
        except OSError as problem:
            report.bad.append(f"{name} cannot be read: {problem.strerror or problem}.")
            continue
        if chain is None:
            report.bad.append(f"{name} holds no entry.")
        elif chain.name in chains:
            report.bad.append(
                f"{name} is a second file of chain {chain.name}: a chain has one; it was forked."
            )
        else:
            chains[chain.name] = chain
    if not chains:
        report.bad.append("chains/ holds no chain: nothing shows what was entered.")
    return chains


def read_chain(path: Path, name: str, bounds: Any, report: Report) -> "Chain | None":
    """Walk along the lines of a chain: each names the digest of the one before it."""
    chain = None
    before = len(report.bad)
    with path.open("rb") as stream:  # a book of many years is long: one line at a time
        for number, whole in enumerate(stream, 1):
            line = whole.rstrip(b"\r\n")
            if whole.endswith(b"\r\n") and name not in report.translated:
                report.translated.append(name)
            entry = parsed(line)
            if entry is None:
                report.bad.append(
                    f"Entry {number} of {chain.name if chain else name} is not the text of an entry: it was "
                    f"altered."
                )
                if chain:
                    chain.last += 1
                    chain.digests[chain.last] = digest_of_entry(line)
                continue
            if chain is None:
                chain = Chain(entry["chain"])
            follow(chain, entry, line, report, bounds)
    if chain and len(report.bad) == before:
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


def follow(chain: Chain, entry: Any, line: bytes, report: Report, bounds: Any = None) -> None:
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
    body = entry["body"]
    kept = {word: body.get(word) or "" for word in SAID}
    facts = body.get("facts")
    facts = facts if isinstance(facts, dict) else {}
    kept["month"], kept["answers"] = str(facts.get("month", "")), str(facts.get("answers", ""))
    kept["outcomes"] = body.get("outcomes")
    chain.bodies.append(kept)
    if kept["event"] == "performed":
        check_number(chain, seq, kept["record"], report)
    place_in_time(chain, seq, kept["at"], bounds, report)


def missing(first: int, last: int) -> str:
    """Return which entries are missing, in words.

    >>> missing(3, 3), missing(3, 5)
    ('Entry 3', 'Entries 3 to 5')
    """
    return f"Entry {first}" if first == last else f"Entries {first} to {last}"


def check_number(chain: Chain, seq: int, number: str, report: Report) -> None:
    """Compare the number of a record with the one that comes next in its year."""
    match = re.fullmatch(r"([A-Za-z0-9]+)-([0-9]{4})-([0-9]{4,12})", number)
    year = match[2] if match else ""
    expected = f"{chain.name}-{year}-{chain.counts.get(year, 0) + 1:04d}" if match else "a number"
    if number != expected:
        report.bad.append(
            f"Entry {seq} of {chain.name} is record {number} where {expected} comes next: a record was "
            f"removed, or numbered again."
        )
    if match:
        chain.counts[year] = int(match[3])


def place_in_time(chain: Chain, seq: int, at: str, bounds: Any, report: Report) -> None:
    """Note whether an entry was made before the month began, or before it had ended."""
    if bounds is None:
        return
    try:
        moment = datetime.fromisoformat(at)
        for which, bound in zip(("begin", "end"), bounds):  # noqa: B905 (Python 3.8)
            chain.over[which] = chain.over[which] or moment >= bound
            if not chain.over[which]:
                chain.at[which] = seq
    except (ValueError, TypeError):
        report.bad.append(f"Entry {seq} of {chain.name} bears no time that can be read: it was altered.")
