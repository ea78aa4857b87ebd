"""The certificates: those that the chains name, with the fingerprints that are printed."""

import base64
import hashlib
import re
from pathlib import Path

from wqverify.pack.script.chain import Chain
from wqverify.pack.script.heads import Head
from wqverify.pack.script.pdfs import bodies_of
from wqverify.pack.script.reading import bytes_of, files_in, rows_of, text_of
from wqverify.pack.script.said import DASH, Report

AUTHORITY = "certificates/authority.pem"
KEYS = ("authority made", "key issued", "key withdrawn")


def check_certificates(folder: Path, chains: "dict[str, Chain]", report: Report) -> None:
    """Compare certificates and withdrawal list with the digests that the chains name."""
    expected = certificates_told(chains)
    there = {
        name: data
        for name in files_in(folder, "certificates")
        for data in [bytes_of(folder, name, report) if name.count("/") == 1 else None]
        if data is not None
    }
    digests = {name: digests_of(data) for name, data in there.items()}
    before = len(report.bad)
    for name in sorted(expected):
        if not any(expected[name] & found for found in digests.values()):
            what = name if name.startswith("the ") else f"the certificate of {name}"
            report.bad.append(f"certificates/ does not hold {what} that the chains name.")
    for name in there:
        stem, _, kind = name.partition("/")[2].rpartition(".")
        told = expected.get(stem) or set().union(*expected.values())
        same = kind == "cer" and fingerprint(there[name]) == fingerprint(there.get(AUTHORITY, b""))
        if not (same or (kind != "cer" and digests[name] & told)):
            report.bad.append(f"{name} is not one that the chains name.")
    if len(report.bad) == before:
        report.good.append(f"{len(expected)} certificates and lists are those that the chains name.")


def digests_of(data: bytes) -> "set[str]":
    """Return the digest of a file, and that of it with line feeds alone at the ends of its lines."""
    return {hashlib.sha256(one).hexdigest() for one in (data, data.replace(b"\r\n", b"\n"))}


def fingerprint(data: bytes) -> str:
    """Return the SHA-256 fingerprint of a certificate, which is that of its DER; PEM is DER in letters."""
    match = re.search(rb"-----BEGIN CERTIFICATE-----(.*?)-----END CERTIFICATE-----", data, re.DOTALL)
    try:
        der = base64.b64decode(b"".join(match[1].split()), validate=True) if match else data
    except ValueError:
        der = data
    return hashlib.sha256(der).hexdigest()


def check_fingerprints(folder: Path, report: Report) -> None:
    """Compare the fingerprints that are printed with those of the certificates."""
    before, count = len(report.bad), 0
    for row in rows_of(folder, "certificates", report) or ():
        name = f"certificates/{row.get('file', '')}"
        told = row.get("SHA-256 fingerprint of the certificate", "")
        if not name.endswith(".pem") or not (folder / name).is_file():
            continue
        found, count = fingerprint((folder / name).read_bytes()), count + 1
        if told not in (found, DASH):
            report.bad.append(f"certificates.csv prints another fingerprint of {name} than it has.")
        if name == AUTHORITY:
            for page in ("check_by_hand.html", "check_by_hand.txt"):
                if page not in report.unread and found not in (text_of(folder, page, report) or found):
                    report.bad.append(f"{page} does not print the fingerprint of {name}.")
    if count and len(report.bad) == before:
        report.good.append("The fingerprints printed are those of the certificates in the pack.")


def check_by_hand(folder: Path, chains: "dict[str, Chain]", heads: "list[Head]", report: Report) -> None:
    """Compare each digest that the pages of check_by_hand print with those of the pack."""
    known = {row.get("SHA-256 of the PDF", "") for row in rows_of(folder, "index", report) or ()}
    known |= {digest for _, _, _, digest in heads} | {body["pdf"] for _, body in bodies_of(chains)}
    if (folder / AUTHORITY).is_file():
        known.add(fingerprint((folder / AUTHORITY).read_bytes()))
    for page in ("check_by_hand.html", "check_by_hand.txt"):
        text = "" if page in report.unread else text_of(folder, page, report) or ""
        for digest in sorted({*re.findall(r"\b[0-9a-f]{64}\b", text)} - known):
            report.bad.append(f"{page} prints {digest[:16]}..., which is no digest of this pack.")


def certificates_told(chains: "dict[str, Chain]") -> "dict[str, set[str]]":
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
