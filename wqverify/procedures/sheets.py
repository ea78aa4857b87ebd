"""Read a field sheet and take it as the sheet of its procedure."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from wqverify.plant.files import Document, read_toml, strings_only
from wqverify.plant.messages import explain
from wqverify.procedures.walk import answered
from wqverify.terms import Procedure, Raw

SHEET_BYTES = 64 * 1024


def read_sheet(path: Path) -> tuple[Raw, Document]:
    """Return a field sheet as nested text, without groups nobody answered, and the document with its lines.

    Raises CorrectTheEntry for a file that is missing, larger than 64 kB, not UTF-8 or not TOML, and for
    values without quotes, which would lose their trailing zeros.
    """
    document = read_toml(path, SHEET_BYTES)
    strings_only(document)
    return answered(document.data), document


def parse(procedure: Procedure, raw: Raw, document: Document | None = None) -> Any:
    """Return the sheet of a procedure; raises CorrectTheEntry listing all that is wrong, with its lines."""
    try:
        return procedure.Sheet.model_validate(raw)
    except ValidationError as error:
        raise explain(
            error, document or Document(Path("the field sheet"), "", raw), procedure.Sheet
        ) from None
