"""Reading a TOML file: each mistake is named with file and line, in words."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wqverify.errors import CorrectTheEntry
from wqverify.plant.files import Document, Problem, leaves, read_toml, strings_only
from wqverify.plant.toml_places import places


def read(folder: Path, content: str | bytes) -> Document:
    path = folder / "sheet.toml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_toml(path)


def refused(folder: Path, content: str | bytes) -> str:
    with pytest.raises(CorrectTheEntry) as error:
        read(folder, content)
    return str(error.value)


ONE_EACH = 'an entry is written name = "text", one on each line'
NO_UTF8 = "byte 0xff is not UTF-8 text; save the file with the encoding UTF-8."
TOO_LONG = ": a number without quotes is too long to be read; write it in double quotes."
TOO_DEEP = ": groups stand within groups more than 8 deep; no file of the plant is so deep."


@pytest.mark.parametrize(
    ("content", "line", "hint"),
    [
        ('a = "1"\n\npH = 7,05\n', 3, 'write pH = "7,05" with the double quotes'),
        ("pH = 7.0O", 1, 'write pH = "7.0O" with the double quotes'),
        ("tag = AIT-2101 # x", 1, 'write tag = "AIT-2101" with the double quotes'),
        ("serial = 0012", 1, 'write serial = "0012" with the double quotes'),
        ("on = 2026-02-30", 1, 'write on = "2026-02-30" with the double quotes'),
        ('a = "1"\nb =\n', 2, "its value is missing"),
        ('a = "foo\nb = "1"', 1, "the closing quote is missing"),
        ('a "1"', 1, 'an entry is written name = "text"'),
        ('a = "1" b = "2"', 1, ONE_EACH),
        ("a", 1, 'an entry is written name = "text"'),
        ('[a\nb = "1"', 1, "the closing bracket of [name] is missing"),
        ('[[a]\nb = "1"', 1, "the closing brackets of [[name]] are missing"),
        ('a = "c:\\path"', 1, "a backslash stands in the text; write / or two backslashes"),
        ('a = "x\x01"', 1, "a character that cannot be seen stands there; type the line again"),
        ('ü = "1"', 1, "an entry begins with its name, of the letters a to z, digits, _ and -"),
    ],
)
def test_a_line_that_is_no_toml_is_shown_with_what_to_do(
    tmp_path: Path, content: str, line: int, hint: str
) -> None:
    shown = content.split("\n")[line - 1]
    assert refused(tmp_path, content) == f"sheet.toml, line {line}: {shown!r} cannot be read: {hint}."


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ('a = "1"\nb = "2"\na = "3"\n', ", line 3: a is given twice (first on line 1); keep one."),
        ('[a]\nx = "1"\n[b]\n[a]\n', ", line 4: a is given twice (first on line 1); keep one."),
        ('[[a]]\n[[a]]\nx = "1"\nx = "2"', ", line 4: x is given twice (first on line 3); keep one."),
        ('a.b = "1"\na.b = "2"', ", line 2: b is given twice (first on line 1); keep one."),
        ('a = { x = "1", x = "2" }', ", line 1: x is given twice (first on line 1); keep one."),
        # what stands behind the first mistake is no TOML either, and must not stop or hang the search
        ('a = "1"\na = "2"\nb = ["7.01", }\n', ", line 2: a is given twice (first on line 1); keep one."),
        ('a = "1"\na = "2"\nb = { c = }\n', ", line 2: a is given twice (first on line 1); keep one."),
        ('a = "1"\na = "2"\nb = ' + "[" * 20000, ", line 2: a is given twice (first on line 1); keep one."),
        ('a = "1"\na = "2"\n"\\U00110000" = 1', ", line 2: a is given twice (first on line 1); keep one."),
        ("a = " + "9" * 5000, TOO_LONG),
        (b'a = "1"\nb = "\xff"\n', ", line 2: " + NO_UTF8),
        ("a".encode("utf-16"), ", line 1: " + NO_UTF8),
        ("a = " + "[" * 3000, TOO_DEEP),
        (".".join("a" * 9000) + '="1"', TOO_DEEP),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_taken_is_refused_in_one_sentence(
    tmp_path: Path, content: str | bytes, sentence: str
) -> None:
    assert refused(tmp_path, content) == f"sheet.toml{sentence}"


def test_a_file_that_does_not_exist_is_named(tmp_path: Path) -> None:
    with pytest.raises(CorrectTheEntry, match=r"^There is no file .*visit\.toml; correct its name\.$"):
        read_toml(tmp_path / "visit.toml")
    with pytest.raises(CorrectTheEntry, match=r"^There is no file "):
        read_toml(tmp_path)


def test_a_file_may_have_64_kb_and_no_byte_more(tmp_path: Path) -> None:
    comment = "#" + "x" * 65534
    assert read(tmp_path, comment[:-1]).data == {}
    assert read(tmp_path, comment + "\n").data == {}
    assert refused(tmp_path, comment + "\n\n") == (
        "sheet.toml is larger than 64 kB, the most that is read; is it the right file?"
    )


def test_groups_may_be_eight_deep(tmp_path: Path) -> None:
    assert read(tmp_path, 'a = [[[[[[["1"]]]]]]]').data
    assert read(tmp_path, 'a = [[[[[[[["1"]]]]]]]]').data
    assert "8 deep" in refused(tmp_path, 'a = [[[[[[[[["1"]]]]]]]]]')


def test_a_byte_order_mark_and_dos_lines_do_no_harm(tmp_path: Path) -> None:
    document = read(tmp_path, '\ufeffa = "1"\r\nb = "2"\r\n')
    assert document.data == {"a": "1", "b": "2"}
    assert document.where(("b",)) == "sheet.toml, line 2"


LAYOUT = """\
tag = "AIT-2101"        # a comment with = and [brackets]
points = [
  "7.06",
  "7.07",  # last
]
tight.inner = "1"

[as_found]
ph = "7.10"
note = \"\"\"
two
lines\"\"\"
after = 'x'

[[hop]]
name = "a"
[hop.range]
low = "0.00"
[[hop]]
name = "b"
"key with = sign" = "1"
box = { x = "1", "y z" = ["2", "3"] }
[far.away]
"""


@pytest.mark.parametrize(
    ("loc", "line"),
    [
        (("tag",), 1),
        (("points",), 2),
        (("points", 1), 4),
        (("tight", "inner"), 6),
        (("as_found",), 8),
        (("as_found", "ph"), 9),
        (("as_found", "after"), 13),
        (("hop",), 15),
        (("hop", 0, "range", "low"), 18),
        (("hop", 1, "name"), 20),
        (("hop", 1, "key with = sign"), 21),
        (("hop", 1, "box", "y z", 1), 22),
        (("hop", 1, "missing"), 19),  # what is missing is looked for in its group
        (("as_found", "cleaning", "by"), 8),
        (("far",), 23),  # only a longer heading names it
    ],
)
def test_every_entry_has_its_line(tmp_path: Path, loc: tuple[str | int, ...], line: int) -> None:
    document = read(tmp_path, LAYOUT)
    assert document.line(loc) == line
    assert document.where(loc) == f"sheet.toml, line {line}"


def test_the_whole_file_has_no_line(tmp_path: Path) -> None:
    document = read(tmp_path, LAYOUT)
    assert (document.where(), document.where(("nowhere",)), document.line(())) == (
        "sheet.toml",
        "sheet.toml",
        0,
    )


def test_every_value_is_found_as_typed(tmp_path: Path) -> None:
    document = read(tmp_path, LAYOUT)
    for loc, value in leaves(document.data):
        assert tomllib.loads(f"x = {document.typed(loc)}")["x"] == value


def test_values_without_quotes_are_listed_as_typed(tmp_path: Path) -> None:
    document = read(tmp_path, 'a = "7.00"\nb = 7.00\nc = [1, "2"]\nd = 2026-03-01\n[e]\nf = true\n')
    with pytest.raises(CorrectTheEntry) as error:
        strings_only(document)
    assert str(error.value).split("\n") == [
        'sheet.toml, line 2: b is written without quotes; write "7.00" in double quotes.',
        'sheet.toml, line 3: item 1 of c is written without quotes; write "1" in double quotes.',
        'sheet.toml, line 4: d is written without quotes; write "2026-03-01" in double quotes.',
        'sheet.toml, line 6: f is written without quotes; write "true" in double quotes.',
    ]
    assert (error.value.found, error.value.where) == ("7.00", "sheet.toml, line 2")
    strings_only(read(tmp_path, LAYOUT))


def test_ten_problems_are_listed_in_the_order_of_the_file_and_the_rest_counted(tmp_path: Path) -> None:
    document = read(tmp_path, "\n".join(f'k{i} = "1"' for i in range(12)))
    said = str(document.refusal([Problem((f"k{i}",), f"problem {i}.") for i in reversed(range(12))])).split(
        "\n"
    )
    assert said[0] == "sheet.toml, line 1: problem 0."
    assert said[9:] == ["sheet.toml, line 10: problem 9.", "sheet.toml: and 2 more."]
    assert len(str(document.refusal([Problem((), "x.")] * 10)).split("\n")) == 10


# ---------------------------------------------------------------- any text at all

KEYS = st.from_regex(r"[a-z][a-z0-9_-]{0,5}", fullmatch=True)
VALUES = st.recursive(
    st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=6,
)


def as_toml(value: object) -> str:
    if isinstance(value, str):
        return re.sub("\x7f", r"\\u007f", json.dumps(value))
    if isinstance(value, list):
        return f"[{', '.join(map(as_toml, value))}]"
    assert isinstance(value, dict)
    return "{" + ", ".join(f"{key} = {as_toml(inner)}" for key, inner in value.items()) + "}"


@given(st.dictionaries(KEYS, VALUES, max_size=5))
def test_any_well_written_file_has_a_place_for_each_value(data: dict[str, object]) -> None:
    # a pair of \u escapes, which JSON writes beyond the basic plane, is no TOML
    text = "\n".join(f"{key} = {as_toml(value)}" for key, value in data.items())
    text = text.encode("utf-16", "surrogatepass").decode("utf-16")
    if re.search(r"\\ud[89ab]", text):
        return
    assert tomllib.loads(text) == data
    found = places(text)
    assert found.twice is None
    for loc, value in leaves(data):
        assert tomllib.loads(f"x = {found.at[loc].typed}")["x"] == value
        assert text.split("\n")[found.at[loc].line - 1].startswith(f"{loc[0]} = ")


@given(st.text(st.sampled_from("ab=.\"'[]{}\\#, \n\t7é\"'[]=\n"), max_size=60))
def test_any_text_is_read_or_refused_with_a_sentence(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_text(text, encoding="utf-8", newline="\n")
    said = ""
    try:
        document = read_toml(path)
    except CorrectTheEntry as problem:
        said = str(problem)
    if said:
        assert re.match(r"any\.toml, line \d+: .*\.$", said)
    else:
        assert all(document.line(loc) >= 1 for loc, _ in leaves(document.data))


@given(st.text("[]{}=,.\"'\\#\n aU01", max_size=60))
def test_any_signs_are_searched_to_an_end(text: str) -> None:
    assert places(text).line(()) == 0
    assert all(1 <= place.line <= text.count("\n") + 1 for place in places(text).at.values())
