"""The PDFs: each is the file the chains name, and holds the digest of the entry before it."""

import hashlib
import json
import re
import zlib
from pathlib import Path
from typing import Any

from wqverify.pack.script.chain import Chain
from wqverify.pack.script.reading import bytes_of
from wqverify.pack.script.record_tables import Tables
from wqverify.pack.script.said import NOT_JSON, Report

SIGNING = ("signed", "reviewed")
SIGNED_AT = re.compile(rb"/M\s*\(D(?::|\\072)([0-9]{14})")  # local time, as entries have it
ATTACHED = re.compile(rb"<<[^<>]*/Type\s*/EmbeddedFile")  # begins a file attached to a PDF


def records_of(chains: "dict[str, Chain]", month: str) -> "dict[str, Any]":
    """Return what the chains say of the records of a month, and of later ones about it.

    Later ones are those that judge this month, and those that answer a record of it.
    """
    found: dict[str, Any] = {}
    performed = [(name, body) for name, body in bodies_of(chains) if body["event"] == "performed"]
    begun = {body["record"] for _, body in performed if body["performed"].startswith(month)}
    for name, body in performed:
        about = body["month"] == month or begun.intersection(body["answers"].split(", "))
        if body["record"] in begun or about:
            found[body["record"]] = {"home": name, "files": [], "events": [], **body}
    for name, body in bodies_of(chains):
        known = found.get(body["record"])
        if known is not None:
            known["events"].append(body)
            if body["pdf"]:
                known["files"].append((body["event"] != "performed", name != known["home"], body["pdf"]))
    for known in found.values():  # as it was performed first, then the chain of its device, then others
        known["pdfs"] = [pdf for _, _, pdf in sorted(known["files"], key=lambda each: each[:2])]
    return found


def bodies_of(chains: "dict[str, Chain]") -> "list[Any]":
    """Return the name of its chain and the body of each entry."""
    return [(name, body) for name in sorted(chains) for body in chains[name].bodies]


def check_pdfs(
    folder: Path, names: "list[str]", chains: "dict[str, Chain]", month: str, report: Report
) -> None:
    """Compare the PDFs with the digests that the chains name, and the tables with the PDFs."""
    expected = records_of(chains, month)
    tables = Tables(folder, report)
    there = {name for name in names if name.startswith("pages/")}
    owners = {body["pdf"]: body["record"] for _, body in bodies_of(chains) if body["pdf"]}
    same, agreeing = 0, 0
    for number in sorted(expected):
        known, told = expected[number], tables.index_of(number)
        name = f"pages/{told.get('PDF') or number + '.pdf'}"
        known["data"] = bytes_of(folder, name, report) if name in there else None
        before = len(report.bad)
        agreeing += check_pdf(number, known, name, chains, report, owners.get)
        there.discard(name)
        if len(report.bad) == before:
            same += 1
        elif told.get("PDF against the book", "as in the book") != "as in the book":
            report.bad[-1] += f" It was so when the pack was made: {told['PDF against the book']}"
        tables.compare(number, known)
    for name in sorted(there):
        report.bad.append(f"{name} is extra: the chains name no such record of {month}.")
    report.good.append(
        f"{same} of {len(expected)} PDFs of {month} and about it are the files that the chains name."
    )
    report.good.append(
        f"{agreeing} of {len(expected)} PDFs hold inside them the digest of the entry before them, and "
        f"it is the one in the chain."
    )
    tables.end(expected, month)


def check_pdf(
    number: str, known: Any, name: str, chains: "dict[str, Chain]", report: Report, owner: Any
) -> bool:
    """Check one PDF; returns whether the digest it holds of the entry before it agrees with the chain.

    ``owner`` gives the record of a digest that the chains name, None for none.
    """
    if known["data"] is None:
        report.bad.append(f"{number}: its PDF is missing from pages/.")
        return False
    digest, pdfs = hashlib.sha256(known["data"]).hexdigest(), known["pdfs"]
    known["digest"] = digest
    if owner(digest) not in (None, number):
        report.bad.append(
            f"{number}: {name} is not the file that the chain names: it is that of {owner(digest)}."
        )
        return False
    if not pdfs or digest != pdfs[-1]:
        what = "an older copy, before the last signature" if digest in pdfs else "changed"
        report.bad.append(f"{number}: {name} is not the file that the chain names: {what}.")
    check_signatures(number, known, name, report)
    known["json"] = record = record_in(known["data"], known["stored"])
    if record is None:
        report.bad.append(f"{number}: the record.json that the chain names is not in {name}.")
        return False
    return previous_agrees(number, record, chains, report)


def check_signatures(number: str, known: Any, name: str, report: Report) -> None:
    """Compare signatures by key with the PDF: how many it bears, and when each says it was made."""
    told = [body for body in known["events"] if body["event"] in SIGNING and body["mode"] == "key"]
    found = len(re.findall(rb"/ByteRange\s*\[", known["data"]))
    if found < len(told):
        report.bad.append(
            f"{number}: signatures by key of which the chains tell: {len(told)}; those {name} bears: {found}."
        )
    times = {each.decode() for each in SIGNED_AT.findall(known["data"])}
    for body in told:
        if times and re.sub("[^0-9]", "", body["at"][:19]) not in times:
            report.bad.append(
                f"{number}: {body['event']} at {body['at']}, the chain says; no signature in {name} says so."
            )


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


def previous_agrees(number: str, record: Any, chains: "dict[str, Chain]", report: Report) -> bool:
    """Compare the digest that a record holds of the entry before it with the chain."""
    try:
        previous = record["previous"]
        name, seq, told = previous["chain"], previous["seq"], previous["digest"]
        there = name in chains and chains[name].digests.get(seq) == told
    except NOT_JSON:
        report.bad.append(f"{number}: its record does not say which entry came before it.")
        return False
    if not there:
        report.bad.append(
            f"{number}: its PDF names entry {seq} of {name} with another digest: the chain was written anew, "
            f"or that entry is missing."
        )
    return there
