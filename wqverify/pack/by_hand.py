"""How to check the pack by hand, in one page: with a pocket calculator, a browser, and what Windows "
"brings."""

from __future__ import annotations

from collections.abc import Iterator

from wqverify.pack.contents import Contents
from wqverify.pack.example import example_blocks
from wqverify.pack.script.said import CANNOT_SEE
from wqverify.show.kinds import Block, Column, Heading, Statement, Table, Title, rows

TITLE = "How to check this pack by hand"
_COMMANDS = (
    ("Windows", "certutil -hashfile {file} SHA256"),
    ("Linux", "sha256sum {file}"),
    ("macOS", "shasum -a 256 {file}"),
)
_HEAD_STANDS = (
    "A page names the entry before it; the plant may have sent a head by e-mail or on paper; your office may "
    "have one from an earlier visit. `wqverify book head` prints it at the plant."
)


def by_hand_blocks(pack: Contents) -> Iterator[Block]:
    """Give the page in its order: a number, a file, the chain, a signature, and what cannot be seen."""
    yield Title(TITLE, f"{pack.plant}, {pack.month}")
    yield from _a_number(pack)
    yield from _a_file(pack)
    yield from _the_chain()
    yield from _a_signature(pack)
    yield Heading("5. What cannot be seen from this")
    yield from (Statement(sentence) for sentence in CANNOT_SEE)


def _a_number(pack: Contents) -> Iterator[Block]:
    yield Statement("If the pack came as a zip, unpack it first.")
    yield Heading("1. A number, with a pocket calculator")
    yield Statement(
        "An error is reading minus reference: a high reading is positive. It is computed from the numbers as "
        "typed, without rounding between, and judged against the bounds of the tolerance. Every PDF prints "
        "its formulas with the numbers put in. One check of this month:"
    )
    if pack.example is None:
        yield Statement(
            "No record of this month holds a check that is worked out as reading minus reference."
        )
    else:
        yield from example_blocks(pack.example)


def _a_file(pack: Contents) -> Iterator[Block]:
    yield Heading("2. A file, by its digest")
    known = next((row for row in pack.pdfs if row[-1]), None)
    name = f"pages/{known[1]}" if known is not None else "index.csv"
    yield Statement(
        "A digest (SHA-256) is a number that any change of the file changes. index.csv and index.html hold "
        "the digest of each PDF; manifest.txt holds those of all files. In a command window in this folder:"
    )
    lines = [(system, _typed(system, command, name)) for system, command in _COMMANDS]
    yield Table((Column("on", "short"), Column("type")), rows(*lines))
    if known is not None:
        yield Statement(f"It must give {known[-1]}, in small or capital letters.")
    yield Statement(
        "All at once on Linux: sha256sum -c manifest.txt; on macOS: shasum -a 256 -c manifest.txt. The lines "
        "for Windows and macOS are from memory, untried; those for Linux are tried by the tests. The "
        "manifest shows damage on the way; whoever changes a file on purpose can change the manifest too."
    )


def _typed(system: str, command: str, name: str) -> str:
    return command.format(file=name.replace("/", "\\") if system == "Windows" else name)


def _the_chain() -> Iterator[Block]:
    yield Heading("3. The chain of the record book")
    yield Statement(
        "chains/ holds every entry of the record book, one a line, in the exact text that was entered. The "
        "digest of an entry is the SHA-256 of the line wqverify-book-1, a line feed, and the text of the "
        "entry without a line feed. The next entry names it as prev; the first names 64 zeros. The entries "
        "of a record (performed, signed, reviewed) name the digest of its PDF as pdf, and that of the "
        "record.json attached to the PDF as stored."
    )
    yield Statement(
        "With Python 3.8 or newer and nothing else, in this folder: python -I verify_chains.py (on Windows: "
        "py -I verify_chains.py). It says what holds and what does not, and ends with 0 or 1. Read it first; "
        "it is one file, and opens no network."
    )
    yield Statement(
        "heads.txt holds the head of each chain (CHAIN:SEQ:DIGEST) before the month began, when it had "
        f"ended, and when the pack was made. Compare it with a head kept outside the plant's computer. "
        f"{_HEAD_STANDS} One is named so: python -I verify_chains.py CHAIN:SEQ:DIGEST "
        "(16 digits do). A head read in this pack shows nothing."
    )


def _a_signature(pack: Contents) -> Iterator[Block]:
    yield Heading("4. A signature, in a PDF reader that checks signatures")
    if not pack.authority:
        yield Statement("This plant has no authority of its own in the pack: no PDF is signed by key.")
        return
    yield Statement(
        "A browser shows a page and checks no signature. The plant vouches for its people by a "
        "small authority of its own. Until your reader knows it, the "
        "reader says that the signer is unknown, which is right. First compare its fingerprint with the "
        "plant by another way (telephone, letter): the certificate in the pack could have been exchanged "
        "with it."
    )
    yield Statement(pack.authority, "SHA-256 fingerprint of certificates/authority.cer")
    yield Statement(
        "It is the digest of that file (2). Where there is openssl, the same with colons: openssl x509 "
        "-inform der -in certificates/authority.cer -noout -fingerprint -sha256"
    )
    yield Statement(
        "Then tell your reader to trust certificates/authority.cer for signatures (in its settings for "
        "signatures or trusted certificates), open a PDF and its list of signatures: Performer, then "
        "Reviewer. Both must be valid, the first over its part of the file, the last over the whole file as "
        "it was signed. A reader may call a file with something added after the last signature valid: the "
        "digest of the file (2) is stricter. Withdrawn keys: certificates/withdrawn.crl and the table of "
        "certificates in index.html; what was signed before a withdrawal stays good."
    )
    yield Statement(
        "A PDF signed in ink is not signed by key: index.html says where the plant keeps the paper, which is "
        "told, not proven."
    )
