"""The files of a pack: which there must be, and how each is read."""

import csv
import io
from pathlib import Path

from wqverify.pack.script.said import Report

# What a pack holds: files at its top, and the kinds of files in its three folders.
SHOWN = ("index", "open", "opened", "plan", "skipped", "changes", "told", "unexplained", "certificates")
TABLES = (*SHOWN, "readings", "checks")
TOP = {*(each + ".csv" for each in TABLES), "index.html", "index.xlsx", "check_by_hand.html"}
TOP |= {"check_by_hand.txt", "heads.txt", "manifest.txt", "verify_chains.py"}
FOLDERS = {"chains": (".txt",), "pages": (".pdf",), "certificates": (".pem", ".cer", ".crl")}


def bytes_of(folder: Path, name: str, report: Report) -> "bytes | None":
    """Return the bytes of a file of the pack; None, and told, where it cannot be read."""
    try:
        return (folder / name).read_bytes()
    except OSError as problem:
        if name not in report.unread:  # else it was told that it is missing
            report.bad.append(f"{name} cannot be read: {problem.strerror or problem}.")
        report.unread.add(name)
        return None


def text_of(folder: Path, name: str, report: Report) -> "str | None":
    """Return the text of a file of the pack; None, and told, where it is none."""
    data = bytes_of(folder, name, report)
    try:
        return None if data is None else data.decode("utf-8-sig")
    except UnicodeDecodeError:
        report.once(f"{name} is no text in UTF-8: it was altered, and was not compared.")
        report.unread.add(name)
        return None


def rows_of(folder: Path, table: str, report: Report) -> "list[dict[str, str]] | None":
    """Return the rows of a table by their heads; None, and told, where there is no such table."""
    text = text_of(folder, f"{table}.csv", report)
    if text is None:
        return None
    try:
        head, *rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    except (csv.Error, ValueError):
        report.once(f"{table}.csv is no table of comma-separated values: it was altered, and not compared.")
        return None
    if len({*head}) != len(head):
        report.once(f"{table}.csv has two columns of one name: it was altered, and not compared.")
        return None
    for number, row in enumerate(rows, 2):
        if len(row) != len(head):
            report.once(f"Row {number} of {table}.csv has {len(row)} cells under {len(head)} heads.")
    return [dict(zip(head, [*row, *[""] * len(head)])) for row in rows]  # noqa: B905 (Python 3.8)


def files_in(folder: Path, under: str = "") -> "list[str]":
    """Return the names of all files under a folder of the pack, in folders of it as well."""
    found = [path for path in (folder / under).rglob("*") if path.is_symlink() or not path.is_dir()]
    return sorted(path.relative_to(folder).as_posix() for path in found)


def check_names(folder: Path, report: Report) -> "list[str]":
    """Say which files are no part of a pack, and which files of a pack are missing; return those of it."""
    there, found = files_in(folder), []
    for name in there:
        top, _, rest = name.partition("/")
        known = Path(name).suffix in FOLDERS.get(top, ()) and "/" not in rest if rest else name in TOP
        if not known:
            report.bad.append(f"{name} is extra and no part of a pack: nothing of it was read or run.")
        elif (folder / name).is_symlink():
            report.bad.append(f"{name} is a link to another place and no file of the pack.")
        elif not (folder / name).is_file():
            report.bad.append(f"{name} is no file that can be read.")
        else:
            found.append(name)
    for name in sorted(TOP.difference(there)):
        report.bad.append(f"{name} is missing in the pack.")
        report.unread.add(name)
    return found
