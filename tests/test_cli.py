"""The command line as it is typed: exit codes, one plain sentence, JSON that keeps its schema."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from plant_example import Clock, bytes_of, entered, plant_in, sheet_of

from wqverify import audit
from wqverify.cli import main
from wqverify.plant.folder import open_plant
from wqverify.proofs.prove import COMPUTED

pytestmark = pytest.mark.slow
SECRET = "a long enough one"
Wqverify = Callable[..., tuple[int, str, str]]


@pytest.fixture
def wqverify(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Wqverify:
    """Run a command as the shell would; gives exit code, output, errors."""

    def run(*arguments: str | Path) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["wqverify", *map(str, arguments)])
        monkeypatch.setattr("wqverify.cli.common.datetime", Clock)
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        code = ended.value.code
        return code if isinstance(code, int) else 0, told.out, told.err

    return run


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("cli")
    plant_in(folder / "plant")
    (folder / "secret").write_text(SECRET + "\n", "utf-8")
    return folder


@pytest.fixture
def here(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = Path(shutil.copytree(made, tmp_path / "here"))
    monkeypatch.setenv("WQVERIFY_KEYS", str(folder / "keys"))
    monkeypatch.chdir(folder / "plant")  # commands look upward from here
    return folder


def fits(text: str, schema: dict[str, Any]) -> Any:
    document = json.loads(text)
    jsonschema.validate(document, schema)
    return document


TEXT = {"type": "string"}
MAYBE = {"type": ["string", "null"]}
YES = {"type": "boolean"}


def of(**properties: Any) -> dict[str, Any]:
    """An object with exactly these keys."""
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def many(item: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": item, "minItems": 1}


OUTCOME = {"enum": ["pass", "fail", "too close to decide", "not evaluated", None]}
RUN = many(
    of(
        number=MAYBE,
        already=YES,
        tag=TEXT,
        procedure=TEXT,
        performed=TEXT,
        page=MAYBE,
        outcomes=many(of(stage=TEXT, place=TEXT, outcome=OUTCOME)),
        checks=many(
            of(
                key=TEXT,
                stage=TEXT,
                place=TEXT,
                label=TEXT,
                outcome=OUTCOME,
                reason=TEXT,
                observed=TEXT,
                reference=TEXT,
                value=MAYBE,
                expanded=MAYBE,
                unit=MAYBE,
                low=TEXT,
                high=TEXT,
                rule=MAYBE,
                counts=YES,
            )
        ),
    )
)
FINDING = of(severity={"enum": ["damaged", "note"]}, text=TEXT)
EXAMINE = of(
    files=many(
        of(
            file=TEXT,
            number=TEXT,
            state=TEXT,
            signers={"type": "array", "items": of(role=TEXT, id=TEXT, name=TEXT, time=TEXT)},
            findings={"type": "array", "items": FINDING},
            damaged=YES,
        )
    ),
    unfinished={"type": "array", "items": TEXT},
)
DIFFERENCES = {"type": "array", "items": of(place=TEXT, was=TEXT, now=TEXT)}
ANSWER = of(
    number=TEXT,
    answer={"enum": ["reproduced", "differs as announced", "differs, unexplained", "could not run"]},
    reason=TEXT,
    page=TEXT,
    note=TEXT,
    made_with=TEXT,
    differences=DIFFERENCES,
    sentences=DIFFERENCES,
)
COUNTED = {"type": "object", "additionalProperties": {"type": "integer"}}
NOW_CHECK = of(key=TEXT, label=TEXT, then=TEXT, now=TEXT, decided_otherwise=YES)
AS_NOW = of(
    of_today={"type": "array", "items": TEXT}, checks={"type": "array", "items": NOW_CHECK}, reason=TEXT
)
OF_MONTH = of(**ANSWER["properties"], as_now={"anyOf": [AS_NOW, {"type": "null"}]})
SAMPLE = of(seed={"type": "integer"}, of={"type": "integer"}, answers=many(ANSWER))
RERUN = of(
    answers=many(OF_MONTH),
    sample={"anyOf": [SAMPLE, {"type": "null"}]},
    counted=COUNTED,
    sentences_only={"type": "integer"},
    run_with=TEXT,
    as_now={"anyOf": [COUNTED, {"type": "null"}]},
)
BOOK = many(
    of(
        number=TEXT,
        tag=TEXT,
        procedure=TEXT,
        performed=TEXT,
        outcomes={"type": "object", "additionalProperties": TEXT},
        state=TEXT,
        told=TEXT,
    )
)
PEOPLE = many(of(id=TEXT, name=TEXT, may_perform=YES, may_review=YES, licence_until=TEXT, key=TEXT))
HEAD = {"type": "object", "additionalProperties": of(seq={"type": "integer"}, digest=TEXT)}
CHANGED = {"type": "array", "items": of(about=TEXT, what=TEXT, was=TEXT, now=TEXT)}
LIST = {"type": "array", "items": TEXT}
CHECK = of(plant=TEXT, analyzers=LIST, unexplained=CHANGED, shares=LIST, doubts=LIST)
DONE = {"type": "object", "required": ["done"]}


def test_the_whole_job_by_commands(wqverify: Wqverify, here: Path) -> None:
    secret = ("--passphrase-file", here / "secret")
    authority = ("--authority-passphrase-file", here / "secret")
    assert wqverify("people", "authority", *authority)[0] == 0
    for staff in ("T-07", "S-02"):
        code, out, _err = wqverify("people", "add", staff, *authority, *secret, "--json")
        assert (code, fits(out, DONE)["id"]) == (0, staff)
    code, out, err = wqverify("run", "field_sheets/pass.toml", "--json")
    (ran,) = fits(out, RUN)
    assert (code, ran["number"]) == (0, number_of(here))
    assert "executing the notebook of ph_calibration for 1 field sheet" in err  # progress
    number = ran["number"]
    assert wqverify("sign", number, "--by", "T-07", *secret)[1] == "1 record signed by T-07.\n"
    code, out, _err = wqverify("review", number, "--by", "S-02", *secret, "--json")
    assert fits(out, DONE)["numbers"] == [number]

    page = here / "plant" / "book" / "pages" / f"{number}.pdf"
    code, out, _err = wqverify("examine", page, "--json")
    (examined,) = fits(out, EXAMINE)["files"]
    assert (code, examined["state"], examined["damaged"]) == (0, "signed and countersigned", False)
    for what in ((page,), (number,), ("--month", "2026-05"), ("--all", "--pages")):
        code, out, _err = wqverify("rerun", *what, "--json")
        assert code == 0
        assert [a["answer"] for a in fits(out, RERUN)["answers"]] == ["reproduced"]
    code, out, _err = wqverify("book", "list", "--json")
    assert [row["state"] for row in fits(out, BOOK)] == ["countersigned"]
    code, out, _err = wqverify("book", "head", "--json")
    assert list(fits(out, HEAD)) == ["L1"]
    code, out, _err = wqverify("book", "examine", "--json")
    assert code == 0
    fits(out, many(FINDING))
    code, out, _err = wqverify("show", number)
    assert out.startswith(f"{number}: countersigned; signed by T-07")
    assert max(map(len, out.splitlines())) <= 200
    code, out, _err = wqverify("show", number, "--json")
    assert json.loads(out)["number"] == number
    code, out, _err = wqverify("people", "list", "--json")
    keys = [row["key"].split(" until ")[0] for row in fits(out, PEOPLE)]
    assert keys == ["in force", "no key", "in force"]
    code, out, _err = wqverify("people", "withdraw", "T-07", "--why", "a test", *authority)
    assert code == 0
    assert "key: withdrawn on 2026-06-01" in wqverify("people", "list")[1].splitlines()[0]
    code, out, _err = wqverify("people", "replace", "S-02", "--why", "a test", *authority, *secret)
    assert code == 0
    code, out, _err = wqverify("book", "void", number, "--by", "S-02", "--why", "a test", "--json")
    assert code == 0
    assert "this record is voided" in wqverify("rerun", number)[1]


@pytest.fixture
def ten(here: Path) -> list[str]:
    """A book of ten records, entered without their notebooks; the tolerance of today is another one."""
    plant = open_plant(here / "plant")
    entered(plant, [bytes_of(plant, name) for name in ("pass", "close")], 10)
    register = here / "plant" / "analyzers.toml"
    register.write_text(register.read_text("utf-8").replace('"0.15"', '"0.001"'), "utf-8")
    return [f"L1-2026-{n:04d}" for n in range(1, 11)]


def test_a_book_is_run_again_by_command(wqverify: Wqverify, ten: list[str]) -> None:
    assert wqverify("rerun", "--all")[:2] == (0, "10 reproduced\n")
    assert wqverify("rerun", "--month", "2026-06", "--each")[1].splitlines() == [
        *(f"{number}  reproduced" for number in ten[5:]),
        "5 reproduced",
    ]
    code, out, _err = wqverify("rerun", "--all", "--json")
    told = fits(out, RERUN)
    assert (code, [one["number"] for one in told["answers"]]) == (0, ten)
    assert (told["counted"]["reproduced"], told["sample"], told["as_now"]) == (10, None, None)
    code, out, err = wqverify("rerun", ten[0], "L1-2026-0099", "--json")
    assert (code, json.loads(out)["found"]) == (2, "L1-2026-0099")
    assert "is not in the book" in err


def test_as_then_and_as_now_stand_side_by_side(wqverify: Wqverify, ten: list[str]) -> None:
    code, out, _err = wqverify("rerun", "--month", "2026-05", "--as-now", "--json")
    told = fits(out, RERUN)
    assert code == 0  # as then decides it
    assert told["counted"]["reproduced"] == 5
    assert told["as_now"]["decided otherwise"] > 0
    assert sum(told["as_now"].values()) == 5
    text = wqverify("rerun", "--month", "2026-05", "--as-now")[1].splitlines()
    assert text[0] == f"{ten[0]}  reproduced as then"
    assert text[1].startswith("    of today: tolerance control_system: ")
    at = next(n for n, line in enumerate(text) if "DECIDED OTHERWISE" in line)
    assert text[at + 1].startswith("        then: ")
    assert text[at + 1].endswith("(simple), pass")
    assert text[at + 2].endswith("to 0.001 (simple), fail")
    assert text[-2] == "5 reproduced"
    assert text[-1].startswith("As now: ")


def test_a_sample_goes_through_its_notebooks_by_command(
    wqverify: Wqverify, here: Path, ten: list[str]
) -> None:
    code, out, err = wqverify("rerun", "--all", "--notebooks", "1", "--json")
    sample = fits(out, RERUN)["sample"]
    assert (code, sample["of"], [one["answer"] for one in sample["answers"]]) == (0, 10, ["reproduced"])
    assert "executing the notebook of ph_calibration for 1 record" in err
    plant = open_plant(here / "plant")
    assert audit.draw(plant, 1, sample["seed"]).numbers == (sample["answers"][0]["number"],)
    assert sample["answers"][0]["number"] in ten


def test_a_damaged_record_of_many_is_listed_and_counted(
    wqverify: Wqverify, here: Path, ten: list[str]
) -> None:
    with closing(sqlite3.connect(here / "plant" / "book" / "book.sqlite", isolation_level=None)) as book:
        for (name,) in book.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            book.execute(f"DROP TRIGGER {name}")
        book.execute("UPDATE stored SET bytes = x'7b7d' WHERE number = ?", (ten[3],))
    code, out, _err = wqverify("rerun", "--all")
    assert code == 3
    assert out.splitlines() == [
        f"{ten[3]}  could not run, because its stored bytes are not those that were entered",
        "9 reproduced, 1 could not run",
    ]


@pytest.mark.usefixtures("ten")
def test_progress_of_a_long_run_stands_on_the_error_output(
    wqverify: Wqverify, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert wqverify("rerun", "--all")[2] == ""  # ten are no long run
    monkeypatch.setattr("wqverify.cli.rerun_commands.LINES", 5)
    monkeypatch.setattr("wqverify.cli.progress.SECONDS", {False: 0.0})
    code, out, err = wqverify("rerun", "--all")
    assert (code, out) == (0, "10 reproduced\n")
    assert len(err.splitlines()) == 11  # one each, as no time has to pass, and the last
    assert re.fullmatch(r"  10 of 10 records, [0-9]+ a second", err.splitlines()[-1])


VALUE = of(
    id=TEXT, quantity=TEXT, printed=TEXT, tolerance=TEXT, computed=TEXT, holds=YES, kind=TEXT, source=TEXT
)
COMPUTER = of(
    wqverify=TEXT,
    code=TEXT,
    python=TEXT,
    platform=TEXT,
    libraries={"type": "object", "additionalProperties": TEXT},
)
PROVED = of(at=TEXT, computer=COMPUTER, values=many(VALUE), failed=LIST, file=MAYBE, digest=MAYBE)
KEPT_PROOFS = many(
    of(
        at=TEXT,
        device=TEXT,
        file=TEXT,
        digest=TEXT,
        there=YES,
        computer=COMPUTER,
        values={"type": "integer"},
        printed={"type": "integer"},
        failed=LIST,
    )
)


def test_published_values_are_proved_by_command(
    wqverify: Wqverify, here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    code, out, _err = wqverify("prove", "--json")
    proved = fits(out, PROVED)
    assert (code, proved["failed"]) == (0, [])
    assert Path(proved["file"]).is_file()
    assert "proofs" in proved["file"]
    monkeypatch.setitem(COMPUTED, "A21", dict)  # type: ignore[arg-type]
    code, out, _err = wqverify("prove")
    assert code == 1
    assert out.startswith("A21 value: not computed; 1.000 computed apart (0.0005): FAILED. 7.2 mA")
    assert "Do not rely on what this computer computes" in out
    assert out.splitlines()[-1].endswith(
        "(proof 2 of this program on this computer; `prove --list` lists all)"
    )
    code, out, _err = wqverify("prove", "--list", "--json")
    good, bad = fits(out, KEPT_PROOFS)
    assert (good["file"], good["there"]) == (Path(proved["file"]).name, True)
    assert (good["values"], good["failed"], len(bad["failed"])) == (len(proved["values"]), [], 1)
    assert good["printed"] == sum(one["kind"] == "printed" for one in proved["values"])
    Path(proved["file"]).unlink()
    lines = wqverify("prove", "--list")[1].splitlines()
    assert lines[0].startswith(f"{good['at']}  L1  {good['values']} of {good['values']} came out (")
    assert lines[0].endswith(" computed apart by other means)")
    assert lines[1].startswith(f"    wqverify 0.1.0 (code {good['computer']['code'][:12]}), Python 3.")
    assert lines[2] == f"    proofs/{good['file']}, not in this folder: the book keeps it"
    assert lines[6] == "    FAILED A21 value: not computed, not 1.000"
    assert lines[7:] == ["2 proofs"]
    monkeypatch.chdir(here)  # no plant folder above
    code, out, _err = wqverify("prove", "--each")
    assert "No plant folder at hand: nothing was kept." in out
    assert out.count(": holds. ") == len(proved["values"]) - 1


def number_of(here: Path) -> str:
    return next(iter(audit.book_of(open_plant(here / "plant")).records())).number


def test_the_month_of_a_record_is_that_of_the_work_in_plant_time(wqverify: Wqverify, here: Path) -> None:
    sheet = here / "plant" / "field_sheets" / "night.toml"
    text = sheet.read_text("utf-8").replace('date = "2026-05-27"', 'date = "2026-05-31"')
    sheet.write_text(text.replace('"02:', '"21:').replace('"03:', '"22:'), "utf-8")  # June already in UTC
    assert wqverify("run", sheet)[0] == 0
    assert "reproduced" in wqverify("rerun", "--month", "2026-05")[1]
    assert wqverify("rerun", "--month", "2026-06")[1] == "none\n"


def test_changes_are_checked_and_accepted(wqverify: Wqverify, here: Path) -> None:
    assert wqverify("plant", "accept", "--by", "S-02", "--why", "the beginning")[0] == 0
    register = here / "plant" / "analyzers.toml"
    register.write_text(register.read_text("utf-8").replace('"0.15"', '"0.12"'), "utf-8")
    _code, out, _err = wqverify("plant", "check", "--json")
    assert [row["now"] for row in fits(out, CHECK)["unexplained"]] == ["0.12"]
    assert "changed, not yet explained" in wqverify("plant", "check")[1]
    _code, out, _err = wqverify("plant", "accept", "--by", "S-02", "--why", "a letter", "--json")
    assert [row["was"] for row in fits(out, CHANGED)] == ["0.15"]
    assert wqverify("plant", "accept", "--by", "S-02", "--why", "a letter")[1].startswith("Nothing changed")


def test_computing_only_and_cautions(wqverify: Wqverify, here: Path) -> None:
    code, out, _err = wqverify("run", "--check", "field_sheets/close.toml", "--json")
    (ran,) = fits(out, RUN)
    assert (code, ran["number"]) == (0, None)
    assert "Nothing was entered." in wqverify("run", "--check", "field_sheets/close.toml")[1]
    assert not (here / "plant" / "book" / "book.sqlite").exists()
    assert "Tell operations" in wqverify("cautions", "ph_calibration")[1]


def test_a_new_plant_folder_is_made_once(wqverify: Wqverify, here: Path) -> None:
    assert wqverify("new", here / "north", "--json")[0] == 0
    assert wqverify("plant", "check", "--plant", here / "north")[0] == 0
    code, _out, err = wqverify("new", here / "north")
    assert code == 2
    assert "is not an empty folder" in err


BOTH = ("--passphrase-file", "../secret", "--authority-passphrase-file", "../secret")
REFUSED = [
    (("run", "field_sheets/none.toml"), 2, "none.toml"),
    (("run", "field_sheets"), 2, "field_sheets"),
    (("sign", "L1-2026-0001", "--by", "X-9", "--passphrase-file", "../secret"), 3, "no record book"),
    (("rerun", "--month", "2026-13"), 3, "no record book"),
    (("rerun",), 2, "Name files or numbers"),
    (("rerun", "--all", "--seed", "3"), 2, "name its size with --notebooks N"),
    (("rerun", "some.pdf", "--notebooks", "3"), 2, "no files"),
    (("rerun", "--all", "--processes", "99"), 2, "choose 1 to 64"),
    (("rerun", "--all", "--processes", "2", "--dask", "tcp://x:1"), 2, "not both"),
    (("rerun", "nothing.pdf"), 2, "nothing.pdf cannot be read"),
    (("examine", "plant.toml"), 1, ""),
    (("cautions", "tea_tasting"), 2, "There is no procedure 'tea_tasting'"),
    (
        (
            "people",
            "add",
            "X-9",
            "--passphrase-file",
            "../secret",
            "--authority-passphrase-file",
            "../secret",
        ),
        2,
        "X-9",
    ),
    (("plant", "accept", "--by", "S-02", "--why", " "), 2, "Say why it changed"),
    (("book", "list"), 3, "no record book"),
    (("nonsense",), 2, "No such command 'nonsense'"),
    (("run", "--nonsense", "x"), 2, "No such option"),
]


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize(("arguments", "code", "says"), REFUSED, ids=lambda x: str(x)[:40])
def test_what_is_refused_is_said_in_a_sentence(
    wqverify: Wqverify, arguments: tuple[str, ...], code: int, says: str
) -> None:
    found, _out, err = wqverify(*arguments)
    assert found == code, err
    assert says in err


@pytest.mark.usefixtures("here")
def test_a_refusal_is_a_document_too(wqverify: Wqverify) -> None:
    code, out, _err = wqverify("run", "field_sheets/none.toml", "--json")
    assert code == 2
    assert "none.toml" in fits(out, of(refused=TEXT, found=TEXT, expected=TEXT))["refused"]


def test_an_empty_passphrase_file_and_an_unreadable_one_sign_nothing(wqverify: Wqverify, here: Path) -> None:
    assert wqverify("run", "field_sheets/pass.toml")[0] == 0
    number = number_of(here)
    (here / "empty").write_text("", "utf-8")
    (here / "binary").write_bytes(b"\xff\xfe\x00")
    for name, says in (("empty", "is empty; nothing was done"), ("binary", "cannot be read as text")):
        code, _out, err = wqverify("sign", number, "--by", "T-07", "--passphrase-file", here / name)
        assert code == 2
        assert says in err


def test_what_the_computer_refuses_is_said_in_a_sentence(
    wqverify: Wqverify, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_start: Path) -> Path:
        raise PermissionError(13, "Permission denied", "/mnt/share/plant.toml")

    monkeypatch.setattr("wqverify.plant.folder.find_plant", refuse)
    code, out, err = wqverify("book", "list")
    assert (code, out) == (3, "")
    assert err == (
        "The computer refused at /mnt/share/plant.toml: Permission denied. What was finished before stays; "
        "mend that and run the command again.\n"
    )


def test_without_a_plant_folder_the_way_on_is_said(
    wqverify: Wqverify, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    code, _out, err = wqverify("book", "list")
    assert code == 3
    assert "There is no plant.toml" in err
    assert "wqverify new" in err


@pytest.mark.usefixtures("here")
def test_what_a_stranger_wrote_does_not_steer_the_terminal(wqverify: Wqverify) -> None:
    _code, _out, err = wqverify("cautions", "\x1b[2Jtea")
    assert "\x1b" not in err


def edited(here: Path, old: str, new: str, name: str = "pass") -> Path:
    path = sheet_of(open_plant(here / "plant"), name)
    text = path.read_text("utf-8")
    assert old in text, old
    path.write_text(text.replace(old, new, 1), "utf-8")
    return path


FIRST = 'readings = ["'
BAD = [
    ('tag = "AIT-2101"', 'tga = "AIT-2101"', "tga", "tag"),
    ('reason = "routine"\n', "", "reason", "missing"),
    ('reason = "routine"', 'reason = "routine"\nreason = "routine"', "reason", "twice"),
    (FIRST, 'readings = ["7,05", "', "'7,05'", "not a comma"),
    (FIRST, 'readings = ["7.0O", "', "'7.0O'", "not a reading"),
    (FIRST, 'readings = ["７.05", "', "not a reading", ""),
    (FIRST, 'readings = ["1e3", "', "'1e3'", "not a reading"),
    (FIRST, 'readings = ["nan", "', "'nan'", "not a reading"),
    (FIRST, f'readings = ["{"7" * 5000}", "', "not a reading", "…"),
    (FIRST, 'readings = [7.05, "', "quote", "7.05"),
    ('temperature_c = "18.4"', 'temperature_c = "60"', "60", "0 to 50"),
    ('started = "08:05"', 'started = "8.05"', "8.05", "time"),
    ('at = "08:45"', 'at = "08:20"', "08:20", "before"),
    ('serial_on_plate = "EL-0417"', 'serial_on_plate = "EL-0418"', "EL-0418", "EL-0417"),
    ('standard = "B10-2188"', 'standard = "B7-4471"', "B7-4471", "twice"),
    ('standard = "B10-2188"', 'standard = "B10-1990"', "B10-1990", "information only"),
    ('standard = "B10-2188"', 'standard = "B99"', "B99", "standards_on_hand.toml"),
    ('performed_by = "T-07"', 'performed_by = "T-99"', "T-99", "people.toml"),
    ('tag = "AIT-2101"', 'tag = "AIT-9999"', "AIT-9999", "analyzers.toml"),
    ('procedure = "ph_calibration"', 'procedure = "tea_tasting"', "tea_tasting", "ph_calibration"),
    ('[cautions]\nread = "yes"', '[cautions]\nread = "no"', "read", "yes"),
    ('date = "2026-05-03"', 'date = "2026-02-30"', "2026-02-30", "date"),
    ('date = "2026-05-03"', 'date = "2099-05-03"', "B7-4471", "usable until"),
    ("[cleaned]", "[claened]", "claened", "cleaned"),
]


@pytest.mark.parametrize(("old", "new", "found", "hint"), BAD, ids=[f"{b[1][:34]!r}" for b in BAD])
def test_a_mistyped_sheet_gets_its_sentence_and_nothing_is_lost(
    wqverify: Wqverify, here: Path, old: str, new: str, found: str, hint: str
) -> None:
    path = edited(here, old, new)
    before = path.read_bytes()
    code, _out, err = wqverify("run", path)
    assert code == 2, err
    assert found in err
    assert hint in err
    assert len(err.splitlines()) <= 12
    assert path.read_bytes() == before
    assert not list((here / "plant" / "book").glob("pages/*"))


@pytest.mark.parametrize(
    ("clock", "says"),
    [("02:30", "does not exist in America/Chicago"), ("01:30 -07:00", "was not at -07:00")],
)
def test_a_time_in_the_spring_gap_is_refused(wqverify: Wqverify, here: Path, clock: str, says: str) -> None:
    edited(here, 'date = "2026-05-03"', 'date = "2026-03-08"')
    code, _out, err = wqverify("run", edited(here, 'started = "08:05"', f'started = "{clock}"'))
    assert (code, says in err) == (2, True), err


def test_the_repeated_hour_is_offered_both_ways(wqverify: Wqverify, here: Path) -> None:
    edited(here, 'date = "2026-05-03"', 'date = "2025-11-02"')
    path = edited(here, 'started = "08:05"', 'started = "01:30"')
    code, _out, err = wqverify("run", path)
    assert code == 2
    assert "01:30 -05:00 or 01:30 -06:00" in err
    path = edited(here, 'started = "01:30"', 'started = "01:30 -06:00"')
    _code, _out, err = wqverify("run", "--check", path)
    assert "01:30" not in err


def test_a_slope_of_the_wrong_sign_or_half_is_not_adjusted_to(wqverify: Wqverify, here: Path) -> None:
    path = sheet_of(open_plant(here / "plant"), "fail")
    lines = path.read_text("utf-8").splitlines()
    volts = [i for i, line in enumerate(lines) if line.startswith("mv = ")]
    lines[volts[3]] = 'mv = "-19"'  # after cleaning in 10.01, where -169 or so was meant
    path.write_text("\n".join(lines), "utf-8")
    code, _out, err = wqverify("run", path)
    assert code == 2, err
    assert "adjust" in err or "slope" in err
    assert not list((here / "plant" / "book").glob("pages/*"))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "procedure"),
        (b"\xff\xfe\x00\x01", "UTF-8"),
        (b"#" * 70000, "64"),
        (b"a = " + b"[" * 20000, "more than 8 deep"),
        (b"= = =", "line 1"),
    ],
    ids=["empty", "binary", "large", "deep", "no toml"],
)
def test_a_file_that_is_no_sheet_is_said_to_be_none(
    wqverify: Wqverify, here: Path, content: bytes, says: str
) -> None:
    path = here / "plant" / "field_sheets" / "odd.toml"
    path.write_bytes(content)
    code, _out, err = wqverify("run", path)
    assert (code, says in err) == (2, True), err


def test_a_full_disk_loses_nothing_and_the_next_command_finishes(
    wqverify: Wqverify, here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import errno
    import os

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr("wqverify.durable.os.fsync", full)
        code, _out, err = wqverify("run", "field_sheets/pass.toml")
    assert code == 3
    assert "could not be written (No space left on device); nothing was lost" in err
    book = audit.book_of(open_plant(here / "plant"))
    assert list(book.records()) == []
    code, _out, _err = wqverify("run", "field_sheets/pass.toml")
    assert code == 0
    assert number_of(here).endswith("-0001")
