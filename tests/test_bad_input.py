"""What is typed wrongly, beyond single entries of a sheet: files, lists of sheets, folders, numbers, months.

Each gets one plain sentence (or a line per mistake), nothing is entered, no sheet is changed. Single entries
of a sheet and the commands as such: test_cli.py.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from plant_example import NOW, Clock, plant_in, sheet_of

from wqverify import acts, audit
from wqverify.cli import main
from wqverify.plant.folder import open_plant
from wqverify.procedures import PROCEDURES

pytestmark = pytest.mark.slow
NUMBER = "L1-2026-0001"
Command = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant with one record in its book, to be copied by each test."""
    folder = tmp_path_factory.mktemp("bad") / "plant"
    plant = plant_in(folder)
    acts.perform(plant, [sheet_of(plant, "fail")], NOW)
    return folder


@pytest.fixture
def plant(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = Path(shutil.copytree(made, tmp_path / "plant"))
    monkeypatch.setenv("WQVERIFY_KEYS", str(tmp_path / "keys"))
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def wqverify(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """Run a command as the shell would; gives exit code, output, and what was said (not the progress)."""

    def run(*arguments: str | Path) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["wqverify", *map(str, arguments)])
        monkeypatch.setattr("wqverify.cli.common.datetime", Clock)
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        said = [line for line in told.err.splitlines(keepends=True) if not line.startswith("  ")]
        assert isinstance(ended.value.code, int)
        return ended.value.code, told.out, "".join(said)

    return run


def state_of(plant: Path) -> tuple[object, dict[str, bytes]]:
    """What must stay: the heads of the book, every sheet, every page."""
    files = [*(plant / "field_sheets").iterdir(), *(plant / "book" / "pages").iterdir()]
    heads = audit.book_of(open_plant(plant)).heads()
    return heads, {path.name: path.read_bytes() for path in files if path.is_file()}


def changed(plant: Path, file: str, old: str, new: str, to: str = "") -> Path:
    path = plant / file
    text = path.read_text("utf-8")
    assert old in text, old
    target = plant / (to or file)
    target.write_text(text.replace(old, new, 1), "utf-8")
    return target


# ---------------------------------------------------------------- files that are no sheet

NAMES = ", ".join(PROCEDURES)
NO_SHEET = [
    (b"", f"odd.toml: procedure is missing; it must be one of {NAMES}."),
    (b"\xef\xbb\xbf", f"odd.toml: procedure is missing; it must be one of {NAMES}."),
    (
        b'procedure = ["x"]',
        f"odd.toml, line 1: procedure is \"['x']\"; it must be one of {NAMES}.",
    ),
    (
        bytes(range(256)),
        "odd.toml, line 2: byte 0x80 is not UTF-8 text; save the file with the encoding UTF-8.",
    ),
    (
        'procedure = "x"'.encode("utf-16"),
        "odd.toml, line 1: byte 0xff is not UTF-8 text; save the file with the encoding UTF-8.",
    ),
    (b"# " * 33_000, "odd.toml is larger than 64 kB, the most that is read; is it the right file?"),
    (
        b'reason = "routine',
        "odd.toml, line 1: 'reason = \"routine' cannot be read: the closing quote is missing.",
    ),
    (
        b'who = "Wren\0"',
        "odd.toml, line 1: 'who = \"Wren\\x00\"' cannot be read: a character that cannot be seen stands "
        "there; type the line again.",
    ),
    (
        b"n = " + b"7" * 5000,
        "odd.toml: a number without quotes is too long to be read; write it in double quotes.",
    ),
]


@pytest.mark.parametrize(("content", "sentence"), NO_SHEET, ids=lambda x: repr(x)[:30])
def test_a_file_that_is_no_sheet_gets_one_sentence(
    wqverify: Command, plant: Path, content: bytes, sentence: str
) -> None:
    odd = plant / "field_sheets" / "odd.toml"
    odd.write_bytes(content)
    before = state_of(plant)
    code, out, said = wqverify("run", odd)
    assert (code, out, said) == (2, "", sentence + "\n")
    assert state_of(plant) == before


NO_ROUND = (
    "field_sheets is no folder of a round: it holds no round.toml. Name a field sheet, or a folder that "
    "`wqverify round` wrote."
)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("field_sheets", NO_ROUND),
        ("none.toml", "There is no file none.toml; correct its name."),
        ("field_sheets/none.toml", "There is no file field_sheets/none.toml; correct its name."),
    ],
)
def test_a_folder_and_a_missing_file_are_no_sheets(
    wqverify: Command, plant: Path, name: str, says: str
) -> None:
    before = state_of(plant)
    assert wqverify("run", name) == (2, "", says + "\n")
    assert state_of(plant) == before


def test_every_mistake_gets_its_line(wqverify: Command, plant: Path) -> None:
    sheet = changed(plant, "field_sheets/pass.toml", 'reason = "routine"', 'reason = "rutine"')
    changed(plant, "field_sheets/pass.toml", 'interval_s = "30"', 'intervall_s = "30"')
    changed(plant, "field_sheets/pass.toml", 'temperature_c = "18.4"', 'temperature_c = "18,4"')
    before = state_of(plant)
    code, out, said = wqverify("run", sheet)
    assert (code, out) == (2, "")
    lines = said.splitlines()
    assert len(lines) == 3
    assert all(line.startswith("pass.toml, line ") for line in lines)
    assert "reason is 'rutine'; it must be 'routine'" in lines[0]
    assert "'18,4' is not a reading such as 7.05 (a decimal point, not a comma)" in lines[1]
    assert "intervall_s is not known here; did you mean interval_s?" in lines[2]
    assert state_of(plant) == before


# ---------------------------------------------------------------- several sheets


def test_one_visit_told_twice_enters_neither(wqverify: Command, plant: Path) -> None:
    changed(
        plant, "field_sheets/pass.toml", 'how = "wiped', 'how = "also wiped', to="field_sheets/again.toml"
    )
    before = state_of(plant)
    code, out, said = wqverify("run", "field_sheets/pass.toml", "field_sheets/again.toml")
    assert (code, out) == (2, "")
    assert said == (
        "pass.toml and again.toml are sheets of one visit (AIT-2101 ph_calibration 2026-05-03T08:05-05:00) "
        "with different entries; nothing was entered. Name the right one, or correct what stands on it: tag, "
        "date or start of the work.\n"
    )
    assert wqverify("run", "--check", "field_sheets/pass.toml", "field_sheets/again.toml")[2] == said
    assert state_of(plant) == before


@pytest.mark.usefixtures("plant")
def test_the_same_sheet_twice_is_one_record(wqverify: Command) -> None:
    code, out, said = wqverify("run", "field_sheets/pass.toml", "field_sheets/pass.toml", "--json")
    assert (code, said) == (0, "")
    assert [(one["number"], one["already"]) for one in json.loads(out)] == [
        ("L1-2026-0002", False),
        ("L1-2026-0002", True),
    ]


OTHER_ENTRIES = (
    f"other.toml: this visit is in the book as {NUMBER} with other entries; to amend it add "
    f'replaces = "{NUMBER}" and replaces_why = "..." to the sheet: both stay readable.'
)


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            'remarks = "glass showed',
            'remarks = "the glass showed',
            OTHER_ENTRIES,
        ),
        (
            "method = ",
            'replaces = "L1-2026-0099"\nreplaces_why = "a test"\nmethod = ',
            OTHER_ENTRIES,
        ),
        (
            'date = "2026-05-10"',
            'replaces = "L1-2026-0099"\nreplaces_why = "a test"\ndate = "2026-05-11"',
            "other.toml: replaces names L1-2026-0099, which is not in the book. See `wqverify book list`.",
        ),
    ],
)
def test_a_good_sheet_is_not_entered_beside_a_refused_one(
    wqverify: Command, plant: Path, old: str, new: str, sentence: str
) -> None:
    """Also where the book, not the sheet, is the reason, and the visits are to one analyzer."""
    changed(plant, "field_sheets/fail.toml", old, new, to="field_sheets/other.toml")
    before = state_of(plant)
    assert wqverify("run", "field_sheets/pass.toml", "field_sheets/other.toml") == (2, "", sentence + "\n")
    assert state_of(plant) == before


def test_buffers_that_do_not_bracket_the_process_are_warned_of_and_taken(
    wqverify: Command, plant: Path
) -> None:
    sheet = plant / "field_sheets" / "pass.toml"
    text = sheet.read_text("utf-8")
    sheet.write_text(text.replace('ph = "7.61"', 'ph = "6.61"').replace('shown = "7.61"', 'shown = "6.61"'))
    code, _out, said = wqverify("run", sheet)
    assert (code, said) == (0, "")
    notes = [
        n.text for n in acts.record_of(open_plant(plant), "L1-2026-0002").result.notes if n.kind == "caution"
    ]
    assert [note for note in notes if "the buffers do not bracket the process value 6.61" in note], notes


# ---------------------------------------------------------------- plant folder and book

FOLDERS = [
    ("plant.toml", "time_zone", "time_zon", "line 4: time_zon is not known here; did you mean time_zone?"),
    ("plant.toml", "America/Chicago", "America/Chicargo", "not known; did you mean America/Chicago?"),
    ("plant.toml", "[book]", "[book", "line 9: '[book' cannot be read: the closing bracket of [name]"),
    ("plant.toml", "book/book.sqlite", "mysql://x/y", "a book on a server begins with postgresql://"),
    ("analyzers.toml", 'serial = "EL-0417"\n', "", "analyzers.toml, line 4: serial is missing; add it."),
    ("analyzers.toml", 'low = "-0.10"', 'low = "-20"', "an allowed error wider than the range 0 to 14 pH."),
    ("people.toml", 'id = "T-11"', 'id = "T-07"', "staff id T-07 is given twice (first on line "),
    ("standards_on_hand.toml", 'column = "7.00"', 'column = "7.0"', "standards_on_hand.toml, line "),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "part"), FOLDERS, ids=lambda x: str(x)[:25])
def test_a_mistake_in_the_plant_folder_stops_every_command_alike(
    wqverify: Command, plant: Path, file: str, old: str, new: str, part: str
) -> None:
    before, right = state_of(plant), (plant / file).read_bytes()
    changed(plant, file, old, new)
    for command in (["run", "field_sheets/pass.toml"], ["book", "list"], ["rerun", "--all"]):
        found, out, said = wqverify(*command)
        assert (found, out) == (2, "")
        assert part in said
        assert len(said.splitlines()) <= 2  # a name that is misspelt is also missing
    (plant / file).write_bytes(right)
    assert state_of(plant) == before


@pytest.mark.parametrize("file", ["analyzers.toml", "people.toml", "standards_on_hand.toml"])
def test_a_file_of_the_plant_folder_that_is_missing_is_named(
    wqverify: Command, plant: Path, file: str
) -> None:
    (plant / file).unlink()
    code, out, said = wqverify("run", "field_sheets/pass.toml")
    assert (code, out) == (3, "")
    assert f"has no {file}; put it back" in said
    assert len(said.splitlines()) == 1


@pytest.mark.parametrize(
    "command", [("book", "list"), ("book", "examine"), ("run", "field_sheets/pass.toml")]
)
def test_a_file_that_is_no_book_is_left_as_it_is(
    wqverify: Command, plant: Path, command: tuple[str, ...]
) -> None:
    book = plant / "book" / "book.sqlite"
    book.write_bytes(b"no database at all " * 100)
    code, out, said = wqverify(*command)
    assert (code, out) == (3, "")
    assert "is damaged, or is no record book (file is not a database); put back its newest good copy" in said
    assert len(said.splitlines()) == 1
    assert book.read_bytes() == b"no database at all " * 100


# ---------------------------------------------------------------- numbers, months, digests, files

SAID = [
    (("rerun", "--month", "2026-13"), "'2026-13' is not a month; type it as 2026-03."),
    (("rerun", "--month", "2026-5"), "'2026-5' is not a month; type it as 2026-03."),
    (("rerun", "--month", "２０２６-05"), "'２０２６-05' is not a month; type it as 2026-03."),
    (("book", "list", "--month", "May 2026"), "'May 2026' is not a month; type it as 2026-03."),
    (("rerun", "L1-2026-0099"), "L1-2026-0099 is not in the book; `wqverify book list` shows what is."),
    (
        ("show", "L1-2026-0099"),
        "The book book.sqlite holds no record L1-2026-0099; see `wqverify book list`.",
    ),
    (("rerun", NUMBER, "--all"), "Name files or numbers, or one of --month YYYY-MM and --all."),
    (("rerun", "none.pdf"), "none.pdf cannot be read (No such file or directory); name the PDF of a record."),
    (
        ("examine", "none.pdf"),
        "none.pdf cannot be read (No such file or directory); name the PDF of a record.",
    ),
    (("examine", "book"), "book cannot be read (Is a directory); name the PDF of a record."),
    (
        ("book", "examine", "--anchor", "rubbish"),
        "'rubbish' is not a digest held outside; `wqverify book head` prints one as CHAIN:SEQ:DIGEST.",
    ),
    (
        ("book", "examine", "--anchor", f"L1:{'9' * 5000}:ab"),
        f"'L1:{'9' * 37}…' is not a digest held outside; `wqverify book head` prints one as "
        f"CHAIN:SEQ:DIGEST.",
    ),
    (
        ("book", "void", "L1-2026-0099", "--by", "S-02", "--why", "a test"),
        "L1-2026-0099 is not in the book; `wqverify book list` shows what stands.",
    ),
    (
        ("book", "void", NUMBER, "--by", "S-02", "--why", " "),
        "Say why the record does not stand: --why TEXT.",
    ),
    (
        ("sign", NUMBER, "--by", "X-9", "--passphrase-file", "plant.toml"),
        "There is no person X-9 in people.toml (it holds T-07, T-11, S-02).",
    ),
    (
        ("sign", NUMBER, "--by", "T-07", "--pen"),
        "Say where the signed paper is kept: --kept-at PLACE.",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("command", "sentence"), SAID, ids=lambda x: " ".join(x)[:40])
def test_what_cannot_be_found_gets_one_sentence(
    wqverify: Command, plant: Path, command: tuple[str, ...], sentence: str
) -> None:
    before = state_of(plant)
    assert wqverify(*command) == (2, "", sentence + "\n")
    assert state_of(plant) == before


@pytest.mark.parametrize("content", [b"", b"no PDF", b"%PDF-1.7\n%%EOF\n"])
def test_a_file_that_is_no_record_is_said_to_be_none(wqverify: Command, plant: Path, content: bytes) -> None:
    (plant / "odd.pdf").write_bytes(content)
    assert wqverify("rerun", "odd.pdf") == (
        3,
        "odd.pdf  could not run, because the file holds no record.json\n",
        "",
    )
    code, out, said = wqverify("examine", "odd.pdf", "--json")
    assert (code, said) == (1, "")
    (examined,) = json.loads(out)["files"]
    assert examined["damaged"]
    assert examined["number"] == ""
    assert all("Traceback" not in finding["text"] for finding in examined["findings"])


# ---------------------------------------------------------------- in a process of its own


@pytest.mark.parametrize(
    ("command", "code", "part"),
    [
        (
            ("run", "field_sheets/bad.toml"),
            2,
            "bad.toml, line 70: item 1 of readings: '7,05' is not a reading",
        ),
        (("run", "field_sheets/none.toml"), 2, "There is no file field_sheets/none.toml; correct its name."),
        (("rerun", "--month", "2026-13"), 2, "'2026-13' is not a month; type it as 2026-03."),
        (
            ("book", "list", "--plant", "nowhere"),
            3,
            "The plant folder nowhere has no plant.toml; put it back",
        ),
        (
            ("sign", NUMBER, "--by", "T-07"),
            2,
            "The passphrase of T-07 is empty; nothing was done.",
        ),  # no input
        (("tea",), 2, "No such command 'tea'."),
    ],
    ids=lambda x: str(x)[:30],
)
def test_a_process_ends_with_its_code_and_no_traceback(
    plant: Path, command: tuple[str, ...], code: int, part: str
) -> None:
    changed(
        plant, "field_sheets/pass.toml", 'readings = ["', 'readings = ["7,05", "', to="field_sheets/bad.toml"
    )
    before = state_of(plant)
    ended = subprocess.run(
        [sys.executable, "-m", "wqverify", *command],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (ended.returncode, ended.stdout) == (code, "")
    assert part in ended.stderr
    assert "Traceback" not in ended.stderr
    assert state_of(plant) == before
