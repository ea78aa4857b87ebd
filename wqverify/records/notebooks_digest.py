"""Print the digests of the notebooks, as they stand in notebooks.toml: ``python -m`` this module."""

from __future__ import annotations

from wqverify.records.canonical import digest
from wqverify.shipped import shipped_folder


def digests() -> str:
    """Return the content of notebooks.toml for the notebooks that are here."""
    found = sorted(shipped_folder("notebooks").glob("*.ipynb"))
    rows = [f'"{path.name}" = "{digest(path.read_bytes())}"' for path in found]
    return "\n".join(["# SHA-256 of each notebook as released; another one is not executed.", *rows, ""])


if __name__ == "__main__":
    print(digests(), end="")
