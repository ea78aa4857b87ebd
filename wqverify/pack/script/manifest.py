"""The manifest: every file of the pack by its digest."""

import hashlib
import re
from pathlib import Path

from wqverify.pack.script.reading import bytes_of, text_of
from wqverify.pack.script.said import Report


def check_manifest(folder: Path, names: "list[str]", report: Report) -> None:
    """Compare every file with the manifest."""
    text = text_of(folder, "manifest.txt", report)
    told: dict[str, str] = {}
    before = len(report.bad)
    for line in (text or "").splitlines():
        digest, _, name = line.partition("  ")
        if re.fullmatch("[0-9a-fA-F]{64}", digest) and name and name not in told:
            told[name] = digest.lower()
        elif line.strip() and not line.startswith("#"):
            report.bad.append(f"manifest.txt holds a line that says nothing: {line.strip()[:60]}")
    there = {*names} - {"manifest.txt"}
    for name in sorted(told.keys() | there) if text is not None else ():
        if name not in there:
            if not (folder / name).is_symlink() and name not in report.unread:
                report.bad.append(f"{name} is in the manifest and missing in the pack.")
        elif name not in told:
            report.bad.append(f"{name} is in the pack and not in the manifest: it is extra.")
        elif name not in report.unread:
            compare_file(folder, name, told[name], report)
    if text is not None and len(report.bad) == before and not report.translated:
        report.good.append(f"{len(told)} files are those of the manifest, which came with this pack.")


def compare_file(folder: Path, name: str, told: str, report: Report) -> None:
    """Compare one file with its digest; one with other line ends alone is told with all of those."""
    data = bytes_of(folder, name, report)
    if data is None or hashlib.sha256(data).hexdigest() == told:
        return
    one_way, other = data.replace(b"\r\n", b"\n"), data.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n")
    if told in (hashlib.sha256(one_way).hexdigest(), hashlib.sha256(other).hexdigest()):
        if name not in report.translated:
            report.translated.append(name)
    else:
        report.bad.append(f"{name} is not the file that the manifest names: it was changed.")
