"""One catalogue: what pydantic finds wrong becomes a sentence with file and line."""

from __future__ import annotations

import difflib
import types
import typing
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from wqverify.errors import CorrectTheEntry
from wqverify.plant.files import Document, Problem, name_of, shortened, unquoted
from wqverify.plant.toml_places import Loc

# Type of pydantic -> sentence; {name} the entry, {shown} what was typed, the rest from pydantic's context.
CATALOGUE: Mapping[str, str] = {
    "missing": "{name} is missing; add it.",
    "string_too_long": "{name} is longer than {max_length} characters; shorten it.",
    "string_too_short": "{name} is empty; fill it in or leave the line out.",
    "string_pattern_mismatch": "{name} is {shown}, which has characters it cannot have; correct it.",
    "literal_error": "{name} is {shown}; it must be {expected}.",
    "enum": "{name} is {shown}; it must be {expected}.",
    "bool_type": "{name} is {shown}; write true or false, without quotes.",
    "list_type": '{name} is no list; write it as {name} = ["…", "…"].',
    "tuple_type": '{name} is no list; write it as {name} = ["…", "…"].',
    "too_long": "{name} holds {actual_length} entries; at most {max_length} can be taken.",
    "too_short": "{name} holds {actual_length} entries; at least {min_length} must be there.",
    "dict_type": "{name} is no group of entries; write it under a heading {heading}.",
    "model_type": "{name} is no group of entries; write it under a heading {heading}.",
    "model_attributes_type": "{name} is no group of entries; write it under a heading {heading}.",
    "union_tag_invalid": "{name} has none of the forms it can have, {expected_tags}; correct it.",
    "union_tag_not_found": "{name} has none of the forms it can have; compare it with an example.",
    "value_error": "{own}",
    "said": "{own}",  # our own sentences, see wqverify.plant.fields
}


def explain(
    error: ValidationError, document: Document, model: type[BaseModel] | None = None
) -> CorrectTheEntry:
    """Return the error that lists what pydantic found, one sentence each with file and line.

    With ``model`` (what was validated) a misspelt entry is answered with the nearest one it knows.
    """
    details = _one_branch(error.errors(include_url=False), document.data)
    return document.refusal([_problem(detail, document, model) for detail in details])


def nearest(name: str, known: Iterable[str], otherwise: str = "") -> str:
    """Return "did you mean serial?"; where nothing is near, ``otherwise`` or what is known.

    >>> nearest("Seriel", ["tag", "serial"])
    'did you mean serial?'
    """
    names = {one.lower(): one for one in known}
    close = difflib.get_close_matches(name.lower(), names, n=1, cutoff=0.6)
    if close:
        return f"did you mean {names[close[0]]}?"
    return otherwise or f"known here: {', '.join(names.values())}."


def _problem(detail: ErrorDetails, document: Document, model: type[BaseModel] | None) -> Problem:
    kind, given = detail["type"], detail["input"]
    loc, _ = _in_file(detail["loc"], document.data)
    if kind == "string_type" and not isinstance(given, dict | list):
        return unquoted(document, loc, given)
    if kind == "string_type":
        return Problem(loc, f'{name_of(loc)} is a group or list; write it as {name_of(loc)} = "text".')
    if kind in ("list_type", "tuple_type") and isinstance(given, dict):
        return Problem(loc, f"{name_of(loc)} can stand several times; head each with [{_heading(loc)}].")
    if kind == "extra_forbidden":
        hint = nearest(str(loc[-1]), _known(model, detail["loc"][:-1])) if model else "is it misspelt?"
        return Problem(loc, f"{name_of(loc)} is not known here; {hint}", found=str(loc[-1]))
    words = {
        **detail.get("ctx", {}),
        "name": name_of(loc),
        "heading": _heading(loc),
        "shown": shortened(given),
        "own": _own(detail, loc),
    }
    at = str(detail.get("ctx", {}).get("at", "")) if kind == "said" else ""
    loc = (*loc, *(int(part) if part.isdigit() else part for part in at.split(".") if part))
    sentence = CATALOGUE.get(kind, "{name}: " + detail["msg"].replace("{", "{{").replace("}", "}}") + ".")
    return Problem(loc, sentence.format(**words), found=shortened(given) if isinstance(given, str) else "")


def _heading(loc: Loc) -> str:
    """How TOML heads a group: [name], and [[name]] for each of several."""
    listed = bool(loc) and isinstance(loc[-1], int)
    path = [str(part) for part in loc if not isinstance(part, int)]
    return f"[[{'.'.join(path)}]]" if listed else f"[{'.'.join(path)}]"


def _own(detail: ErrorDetails, loc: Loc) -> str:
    """A sentence of ours: for one value it follows the name, for a group it stands alone."""
    said = str(detail.get("ctx", {}).get("error") or detail.get("ctx", {}).get("said") or detail["msg"])
    return said if isinstance(detail["input"], dict) or not loc else f"{name_of(loc)}: {said}"


def _in_file(loc: Loc, data: Any) -> tuple[Loc, int | None]:
    """Drop from pydantic's location the names of union branches, which no file holds.

    Returns the location in the file and where in ``loc`` the first branch was named.
    """
    found: list[str | int] = []
    branch = None
    for place, part in enumerate(loc):
        if _holds(data, part):
            data = data[part]
        elif place < len(loc) - 1 or not isinstance(data, dict) or not _is_entry(part):
            branch = place if branch is None else branch
            continue
        found.append(part)
    return tuple(found), branch


def _holds(data: Any, part: str | int) -> bool:
    if isinstance(data, dict):
        return part in data
    return isinstance(data, list) and isinstance(part, int) and part < len(data)


def _is_entry(part: str | int) -> bool:
    # a missing entry is not in the data; entries are lower case, branches are CamelCase or have brackets
    return isinstance(part, str) and part.isidentifier() and part == part.lower() and part not in _SCALARS


_SCALARS = {"str", "int", "bool", "none", "float", "list", "dict"}


def _one_branch(details: list[ErrorDetails], data: Any) -> list[ErrorDetails]:
    """Of a choice between forms keep the complaints of the form that fits best, not of every form."""
    kept: list[ErrorDetails] = []
    forms: dict[Loc, dict[str | int, list[ErrorDetails]]] = {}
    for detail in details:
        _, branch = _in_file(detail["loc"], data)
        if detail["type"] == "too_short" and any(_inside(other["loc"], detail["loc"]) for other in details):
            continue  # pydantic does not count the entries it complains about
        if branch is None:
            kept.append(detail)
        else:
            forms.setdefault(detail["loc"][:branch], {}).setdefault(detail["loc"][branch], []).append(detail)
    for loc, choice in forms.items():
        best = min(choice.values(), key=lambda form: _misfit(form, len(loc) + 2))
        kept += best
    return kept


def _inside(loc: Loc, group: Loc) -> bool:
    return len(loc) > len(group) and loc[: len(group)] == group


def _misfit(details: list[ErrorDetails], depth: int) -> tuple[int, int]:
    """How badly a form fits: entries of its own that are missing or unknown first, then all complaints."""
    shape = ("extra_forbidden", "missing", "model_type", "string_type")
    return sum(d["type"] in shape and len(d["loc"]) <= depth for d in details), len(details)


def _known(model: type[BaseModel], loc: Loc) -> list[str]:
    """The entries known at a place of a model, through lists, choices and named groups."""
    at: list[type[BaseModel]] = [model]
    for part in loc:
        inside = [
            found
            for one in at
            if isinstance(part, str) and part in one.model_fields
            for found in _models(one.model_fields[part].annotation)
        ]
        at = inside or [one for one in at if one.__name__ == part] or at
    return list(dict.fromkeys(name for one in at for name in one.model_fields))


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
        return [annotation] if issubclass(annotation, BaseModel) else []
    return [found for argument in typing.get_args(annotation) for found in _models(argument)]
