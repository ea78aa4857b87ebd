"""What a PDF holds, revision by revision: the page as it was made, its attachments, what was added since."""

from __future__ import annotations

import io
import logging
import struct
import zlib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.x509 import DuplicateExtension, InvalidVersion
from pyhanko.pdf_utils.generic import ArrayObject, DictionaryObject, StreamObject
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.reader import HistoricalResolver, PdfFileReader
from pyhanko_certvalidator.errors import CRLValidationError, PathError, ValidationError

# A wrong passphrase or a damaged file is told in our own words; the library's log would add a traceback.
for _name in ("pyhanko", "pyhanko_certvalidator"):
    logging.getLogger(_name).addHandler(logging.NullHandler())

# What the libraries raise on bytes that are no well-made PDF: found by cutting and flipping, see the tests.
MALFORMED = (
    PdfError,
    CRLValidationError,
    PathError,
    ValidationError,
    UnsupportedAlgorithm,
    DuplicateExtension,
    InvalidVersion,
    ArithmeticError,
    AssertionError,
    AttributeError,
    LookupError,
    NotImplementedError,
    RecursionError,
    TypeError,
    ValueError,
    struct.error,
    zlib.error,
)

END_MARK = b"%%EOF"


def open_pdf(pdf: bytes) -> PdfFileReader:
    """Return a strict reader of the bytes; raises one of MALFORMED."""
    return PdfFileReader(io.BytesIO(pdf), strict=True)


def page_end(pdf: bytes, reader: PdfFileReader) -> int:
    """Return where the first revision ends: up to there it is the page as it was made."""
    table = reader.xrefs.get_xref_container_info(0)
    return pdf.index(END_MARK, table.end_location) + len(END_MARK)


def attachments(root: Any) -> dict[str, bytes]:
    """Return the attachments of one revision by name; ValueError when two contents go by one name."""
    found: dict[str, bytes] = {}
    if "/Names" not in root or "/EmbeddedFiles" not in root["/Names"]:
        return found
    for name, specification in _leaves(root["/Names"]["/EmbeddedFiles"]):
        files = specification["/EF"]
        data = files["/F"].data
        if name in found or ("/UF" in files and files["/UF"].data != data):
            raise ValueError(f"two contents go by the name {name}")
        found[name] = data
    return found


def _leaves(node: Any) -> Iterator[tuple[str, Any]]:
    pairs = _items(node, "/Names")
    for name, specification in zip(pairs[::2], pairs[1::2], strict=True):
        yield str(name), specification
    for kid in _items(node, "/Kids"):
        yield from _leaves(kid)


def _items(node: Any, key: str) -> list[Any]:
    """Return what the array under a key refers to; only asking by index follows references."""
    if key not in node:
        return []
    array = node[key]
    return [array[index] for index in range(len(array))]


def form_fields(root: Any) -> set[str]:
    """Return the names of the form fields of one revision."""
    if "/AcroForm" not in root:
        return set()
    return {str(field["/T"]) for field in _items(root["/AcroForm"], "/Fields")}


Box = tuple[int, int, int, int]


def whole(box: Iterable[float]) -> Box:
    """Return a place on the page in whole points, as a signature field has it."""
    left, low, right, high = (round(float(edge)) for edge in box)
    return left, low, right, high


def field_places(root: Any) -> dict[str, tuple[int, Box]]:
    """Return where the signature fields are: page (from 0) and left, low, right, high in points."""
    places = {}
    for number, page in enumerate(_pages(root["/Pages"])):
        for shown in _items(page, "/Annots"):
            if "/FT" in shown:
                places[str(shown["/T"])] = number, whole(_items(shown, "/Rect"))
    return places


def painted_pages(old: Any, new: Any) -> list[int]:
    """Return the numbers of the pages whose painting differs between two revisions."""
    before, after = list(_pages(old["/Pages"])), list(_pages(new["/Pages"]))
    return [
        index + 1
        for index in range(max(len(before), len(after)))
        if index >= min(len(before), len(after)) or _paint(before[index]) != _paint(after[index])
    ]


def _pages(node: Any) -> Iterator[Any]:
    if "/Kids" not in node:
        yield node
        return
    for kid in _items(node, "/Kids"):
        yield from _pages(kid)


def _paint(page: Any) -> bytes:
    if "/Contents" not in page:
        return b""
    contents = page["/Contents"]
    parts = [contents] if hasattr(contents, "data") else _items(page, "/Contents")
    return b"\n".join(part.data for part in parts)


# What signing puts into the catalog, a page, the form and a field; anything else came from elsewhere.
_CATALOG = {"/AcroForm", "/Perms", "/Extensions"}
_PAGE = {"/Annots"}
_FORM = {"/Fields", "/SigFlags"}
_FIELD = {"/FT", "/T", "/Type", "/Subtype", "/F", "/Rect", "/P", "/AP", "/V"}


def only_fields_added(reader: PdfFileReader, until: int) -> bool:
    """Return whether the revisions after the first, up to one, add signature fields and nothing else."""
    made = reader.get_historical_resolver(0)
    added = (reader.get_historical_resolver(revision) for revision in range(1, until + 1))
    return all(_only_fields(made, revision) for revision in added)


def _only_fields(made: HistoricalResolver, revision: HistoricalResolver) -> bool:
    if "/AcroForm" not in revision.root:
        return False
    form = revision.root["/AcroForm"]
    fields = _references(form["/Fields"])
    if _freed(revision) or not form.keys() <= _FORM:
        return False
    if not all(f.get_object()["/FT"] == "/Sig" and f.get_object().keys() <= _FIELD for f in fields):
        return False
    overwritten = (r for r in _written(revision) if not made.is_ref_unassignable(r))
    return all(_same_but_for(fields, made(ref), revision(ref)) for ref in overwritten)


def _freed(revision: HistoricalResolver) -> Any:
    return revision.refs_freed_in_revision()  # type: ignore[no-untyped-call]


def _written(revision: HistoricalResolver) -> Any:
    return revision.explicit_refs_in_revision()  # type: ignore[no-untyped-call]


def _same_but_for(fields: list[Any], old: Any, new: Any) -> bool:
    """Compare an object of the page as it was made with what a later revision put in its place."""
    if isinstance(old, ArrayObject) and isinstance(new, ArrayObject):
        return _extended(fields, old, new)
    if not _is_dictionary(old) or not _is_dictionary(new):
        return False
    changed = {key for key in old.keys() | new.keys() if old.get(key) != new.get(key)}
    if old.get("/Type") == "/Catalog":
        return changed <= _CATALOG
    if "/Annots" not in changed:
        return not changed
    before = old["/Annots"] if "/Annots" in old else ArrayObject()
    return changed <= _PAGE and "/Annots" in new and _extended(fields, before, new["/Annots"])


def _extended(fields: list[Any], old: ArrayObject, new: ArrayObject) -> bool:
    before, after = _references(old), _references(new)
    return after[: len(before)] == before and all(one in fields for one in after[len(before) :])


def _references(array: ArrayObject) -> list[Any]:
    return [array.raw_get(index) for index in range(len(array))]


def _is_dictionary(found: Any) -> bool:
    return isinstance(found, DictionaryObject) and not isinstance(found, StreamObject)


def differences(old: Mapping[str, bytes], new: Mapping[str, bytes]) -> Iterator[tuple[str, str]]:
    """Yield what became of attachments: (name, "added" | "removed" | "replaced")."""
    for name in sorted(old.keys() | new.keys()):
        if name not in old:
            yield name, "added"
        elif name not in new:
            yield name, "removed"
        elif old[name] != new[name]:
            yield name, "replaced"
