"""The Parquet copy of an export with a row for each value: sorted by tag, so that little of it is read.

It carries the digest of the export it was made of, its size and time of change, and how its texts were read.
It is used again while the export still has that size and time, or else that digest, and is read in the same
way: an export is not read through only to find out that nobody changed it.
"""

from __future__ import annotations

import glob
import hashlib
from pathlib import Path

from wqverify.durable import rename_durably
from wqverify.trends.large import LongCsv, asked, connection, quoted, read_as

_ROWS = 61_440  # of one piece, each with its least and greatest tag and time; a multiple of DuckDB's 2048
_ORDER = "by tag, then as in the export"


def parquet_copy(source: LongCsv) -> tuple[Path, bool]:
    """Return the Parquet copy beside the export, and whether it was made now.

    Rows stand by tag, those of a tag in the order of the export: what the order of rows tells of an hour that
    happened twice stays. Written beside and renamed, so that a kill leaves the old copy or the new one.
    """
    path, digest = place_of(source.path), digest_of(source.path)
    told = _told_in(path)
    if told.get("export_sha256") == digest and _fits(told, source) and _fresh(told, source.path):
        return path, False
    part, plain = (path.with_name(path.name + end) for end in (".part", ".plain.part"))
    size, changed = _size_and_change(source.path)
    about = {
        "export_sha256": digest,
        "export_bytes": size,
        "export_changed_ns": changed,
        "read_as": read_as(source),
        "rows": _ORDER,
    }
    notes = ", ".join(f"{name}: {quoted(value)}" for name, value in about.items())
    try:
        # Two steps: of a CSV the order of rows is kept only where nothing is sorted.
        asked(
            source,
            f"COPY (SELECT time, tag, number, written, text, quality FROM export) TO {quoted(str(plain))} "
            f"(FORMAT parquet, COMPRESSION zstd)",
        )
        with connection(spill=path.parent) as sorting:
            sorting.execute(
                f"COPY (SELECT * EXCLUDE (file_row_number) FROM read_parquet("
                f"{quoted(glob.escape(str(plain)))}, file_row_number = true) ORDER BY tag, file_row_number) "
                f"TO {quoted(str(part))} (FORMAT parquet, COMPRESSION zstd, ROW_GROUP_SIZE {_ROWS}, "
                f"KV_METADATA {{{notes}}})"
            )
        rename_durably(part, path)
    finally:
        for left in (part, plain):
            left.unlink(missing_ok=True)
    return path, True


def copy_at_hand(source: LongCsv) -> Path | None:
    """Return the Parquet copy of an export where there is one of this very file, read in this way."""
    path = place_of(source.path)
    told = _told_in(path)
    if not _fits(told, source):
        return None
    if _fresh(told, source.path) or told.get("export_sha256") == digest_of(source.path):
        return path
    return None


def _fits(told: dict[str, str], source: LongCsv) -> bool:
    return told.get("rows") == _ORDER and told.get("read_as") == read_as(source)


def place_of(export: Path) -> Path:
    """Return where the copy of an export stands: beside it."""
    return export.with_name(export.name + ".parquet")


def digest_of(path: Path) -> str:
    """Return the sha256 of a file, read piece by piece."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _size_and_change(export: Path) -> tuple[str, str]:
    found = export.stat()
    return str(found.st_size), str(found.st_mtime_ns)


def _fresh(told: dict[str, str], export: Path) -> bool:
    """Whether an export has the size and time of change it had when the copy was made."""
    return (told.get("export_bytes"), told.get("export_changed_ns")) == _size_and_change(export)


def _told_in(copy: Path) -> dict[str, str]:
    """What a copy says of the export it was made of; nothing where there is none or it is damaged."""
    if not copy.is_file():
        return {}
    import duckdb

    with connection() as asking:
        try:
            rows = asking.execute(
                "SELECT key, value FROM parquet_kv_metadata(?)", [glob.escape(str(copy))]
            ).fetchall()
        except duckdb.Error:  # it is made again
            return {}
    return {_text(key): _text(value) for key, value in rows}


def _text(found: bytes) -> str:
    return bytes(found).decode("ascii", "replace")
