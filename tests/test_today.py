"""The list of today: what is out of use on top, then what is open, and nothing that hides the rest."""

from __future__ import annotations

import json
import shutil
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from plant_example import NOW, Clock, plant_in, sheet_of
from round_example import plant_with_round, skip, type_in, walked, written

from wqverify import acts
from wqverify.book import has_book
from wqverify.cli import main
from wqverify.cli.today_commands import WIDTH, today_lines
from wqverify.entry.journal import JournalLine, journal_path
from wqverify.entry.told import label_of
from wqverify.lists.out_of_use import OUT_OF_USE
from wqverify.lists.today import STATES, today
from wqverify.plant.folder import Plant, open_plant
from wqverify.procedures import PROCEDURES
from wqverify.procedures.parts import Tail

BEGUN = "2026-06-01T02:05:00.000-05:00"
NIGHT = datetime.fromisoformat("2026-06-01T02:59-05:00")
Line = JournalLine


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("today") / "plant"
    plant_in(folder)
    for path in (folder / "field_sheets").iterdir():
        path.unlink()
    return folder


@pytest.fixture
def plant(made: Path, tmp_path: Path) -> Plant:
    return open_plant(Path(shutil.copytree(made, tmp_path / "plant")))


def answers(**typed: str) -> list[Line]:
    """Answers by path, "__" for a point, one after the other from the beginning on."""
    told = {"performed_by": "T-07", "date": "2026-06-01", "started": "02:05", **typed}
    return [Line(do="answer", path=path.replace("__", "."), text=text) for path, text in told.items()]


def journal(
    plant: Plant, name: str, *lines: Line, tag: str = "AIT-2101", procedure: str = "ph_calibration"
) -> Path:
    """Write the journal of a visit that began at five past two, one line a minute."""
    begun = datetime.fromisoformat(BEGUN)
    first = Line(do="begin", format=1, procedure=procedure, revision=1, tag=tag, wqverify="0")
    path = journal_path(plant.folder / "field_sheets" / f"{name}.toml")
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(
        b"".join(
            replace(
                line, n=n, at=(begun + timedelta(minutes=n - 1)).isoformat(timespec="milliseconds")
            ).written()
            for n, line in enumerate((first, *lines), 1)
        )
    )
    return path


def label(path: str) -> str:
    """What a sheet calls an answer; words of the sheets are not tested here."""
    return label_of(PROCEDURES["ph_calibration"].Sheet, path)


def told(plant: Plant, now: datetime = NIGHT) -> list[str]:
    """The lines of the list, each entry as one."""
    found: list[str] = []
    for line in today_lines(replace(today(plant, now), opened=(), due=(), expiring=())):
        assert len(line) <= WIDTH or line.startswith("      wqverify "), line
        if line.startswith("      "):
            found[-1] += f" {line.strip()}"
        else:
            found.append(line)
    return found


# ---------------------------------------------------------------- out of use


def test_nothing_is_open_in_a_plant_where_nothing_was_begun(plant: Plant) -> None:
    assert told(plant) == ["Nothing is open."]
    shutil.rmtree(plant.folder / "field_sheets")
    assert told(plant) == ["Nothing is open."]
    assert not has_book(plant.book)


def test_an_output_that_is_still_held_stands_on_top_with_how_long(plant: Plant) -> None:
    journal(plant, "a", *answers(output_held__at="02:14"))
    first, second, *rest = told(plant)
    assert first == "Out of use: 1"
    assert second == (
        "  AIT-2101: output still held since 02:14 (2026-06-01), 45 min, pH calibration in buffers by T-07, "
        "sheet field_sheets/a.toml"
    )
    assert rest == [
        "Open: 1 sheet",
        f'  AIT-2101: pH calibration in buffers by T-07; last answer "{label("output_held.at")}" 50 min ago '
        "wqverify step field_sheets/a.toml",
    ]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"output_held__at": "02:14", "output_released__at": "02:40"}, ""),
        ({"output_held__not_done": "no output"}, ""),
        ({"output_released__at": "02:40"}, ""),
        ({"loop_in_manual__at": "02:14"}, "loop still in manual since 02:14"),
        ({"loop_in_manual__at": "02:14", "output_released__at": "02:40"}, "loop still in manual since 02:14"),
        ({"loop_in_manual__at": "02:14", "loop_in_auto__at": "02:40"}, ""),
        ({"alarm_blocked__at": "02:14"}, "alarm still blocked since 02:14"),
        ({"alarm_blocked__at": "02:14", "alarm_restored__at": "02:40"}, ""),
    ],
)
def test_what_was_taken_out_of_use_is_told_until_it_is_back(
    plant: Plant, typed: dict[str, str], said: str
) -> None:
    journal(plant, "a", *answers(**typed))
    found = [line for line in told(plant) if "still" in line]
    assert len(found) == bool(said)
    assert all(said in line for line in found)


def test_what_can_be_taken_out_of_use_is_what_a_sheet_wants_back() -> None:
    back = {undone for _done, undone, _what in OUT_OF_USE}
    assert back == {"output_released", "loop_in_auto", "alarm_restored"}
    assert back <= set(Tail.model_fields)


def test_an_output_that_was_left_held_says_why(plant: Plant) -> None:
    typed = {"output_held__at": "02:14", "output_released__not_done": "the new sensor comes on Monday"}
    journal(plant, "a", *answers(**typed))
    assert "45 min, left so because the new sensor comes on Monday, pH calibration" in told(plant)[1]


def test_the_oldest_comes_first_whatever_the_sheets_are_called(plant: Plant) -> None:
    journal(plant, "a", *answers(output_held__at="02:30"))
    journal(plant, "b", *answers(output_held__at="02:10", alarm_blocked__at="02:12"), tag="AIT-2201")
    journal(plant, "c", *answers(output_held__at="2026-05-31 23:50"), tag="AIT-2301")
    found = told(plant)
    assert found[0] == "Out of use: 4"
    assert [line[2:10] + line.partition("since ")[2][:5] for line in found[1:5]] == [
        "AIT-230123:50",
        "AIT-220102:10",
        "AIT-220102:12",
        "AIT-210102:30",
    ]


def test_across_midnight_the_hours_go_on(plant: Plant) -> None:
    journal(plant, "a", *answers(date="2026-05-31", started="23:40", output_held__at="23:50"))
    assert "since 23:50 (2026-05-31), 3 h 09 min," in told(plant)[1]
    later = NIGHT + timedelta(days=3)
    assert "since 23:50 (2026-05-31), 3 d 3 h," in told(plant, later)[1]


def test_in_the_night_of_the_repeated_hour_true_time_is_told(plant: Plant) -> None:
    typed = {"date": "2026-11-01", "started": "00:40", "output_held__at": "01:30 -05:00"}
    journal(plant, "a", *answers(**typed))
    now = datetime.fromisoformat("2026-11-01T01:45-06:00")
    assert "since 01:30 (2026-11-01), 1 h 15 min," in told(plant, now)[1]


def test_a_time_that_happened_twice_is_said_and_stands_above_all(plant: Plant) -> None:
    journal(plant, "a", *answers(date="2026-11-01", started="00:10", output_held__at="00:20"))
    typed = {"date": "2026-11-01", "started": "00:40", "output_held__at": "01:30"}
    journal(plant, "b", *answers(**typed), tag="AIT-2201")
    found = told(plant, datetime.fromisoformat("2026-11-01T03:00-06:00"))
    assert found[1].startswith(
        "  AIT-2201: output still held since when nobody can tell: 01:30 on 2026-11-01 happened twice in "
    )
    assert found[1].endswith("or 01:30 -06:00, pH calibration in buffers by T-07, sheet field_sheets/b.toml")
    assert found[2].startswith("  AIT-2101: output still held since 00:20")


def test_a_time_that_lies_ahead_of_the_clock_is_said(plant: Plant) -> None:
    journal(plant, "a", *answers(output_held__at="04:00"))
    assert (
        "AIT-2101: output still held since 04:00 (2026-06-01), which this computer's clock reaches only in "
        "1 h 01 min, pH"
    ) in told(plant)[1]


# ---------------------------------------------------------------- sheets


def test_each_state_has_its_place_and_says_what_it_waits_for(plant: Plant) -> None:
    journal(plant, "waits", *answers(), Line(do="wait", text="grab 2 at the laboratory"))
    journal(plant, "passed", *answers(), Line(do="pass on", to="T-11", text="grabs at eight"), tag="AIT-2201")
    journal(plant, "done", *answers(), Line(do="complete", digest="0" * 64), tag="AIT-2202")
    journal(plant, "open", *answers(), tag="AIT-2301", procedure="chlorine_check")
    last = f'last answer "{label("started")}" 51 min ago'
    assert told(plant) == [
        "Open: 1 sheet",
        f"  AIT-2301: Chlorine check against grabs by T-07; {last} wqverify step field_sheets/open.toml",
        "Waiting for the laboratory: 1 sheet",
        "  AIT-2101: pH calibration in buffers by T-07; waiting for the laboratory: grab 2 at the "
        f"laboratory; {last} wqverify step field_sheets/waits.toml",
        "Passed on: 1 sheet",
        "  AIT-2201: pH calibration in buffers by T-07; passed on to T-11: grabs at eight; "
        f"{last} wqverify step field_sheets/passed.toml",
        "Complete, to be run: 1 sheet",
        f"  AIT-2202: pH calibration in buffers by T-07; {last} wqverify run field_sheets/done.toml",
    ]


def test_what_was_taken_up_again_is_open(plant: Plant) -> None:
    lines = (*answers(), Line(do="pass on", to="T-11"), Line(do="take up", by="T-11"))
    journal(plant, "a", *lines)
    assert [one.state for one in today(plant, NIGHT).sheets] == ["open"]


def test_every_state_of_a_sheet_is_listed_under_a_heading(plant: Plant) -> None:
    from wqverify.cli.today_commands import _HEADINGS

    assert tuple(_HEADINGS) == STATES
    assert set(today(plant, NIGHT).__dataclass_fields__) >= {"out_of_use", "sheets", "rounds", "unreadable"}


def test_the_sheet_that_was_touched_last_comes_first(plant: Plant) -> None:
    journal(plant, "a", *answers())
    journal(plant, "b", *answers(clocks__laptop="02:06"), tag="AIT-2201")
    assert [one.where.tag for one in today(plant, NIGHT).in_state("open")] == ["AIT-2201", "AIT-2101"]


def test_a_visit_that_was_only_begun_says_so(plant: Plant) -> None:
    journal(plant, "a")
    assert told(plant)[1] == (
        "  AIT-2101: pH calibration in buffers; last answer none yet, begun 54 min ago wqverify step "
        "field_sheets/a.toml"
    )


def test_what_a_power_cut_left_half_written_hides_nothing(plant: Plant) -> None:
    path = journal(plant, "a", *answers(output_held__at="02:14"))
    path.write_bytes(path.read_bytes() + b'{"n":6,"at":"2026-06-01T0')
    assert "output still held since 02:14" in told(plant)[1]


def test_a_damaged_journal_is_a_line_with_its_sentence_and_the_rest_is_shown(plant: Plant) -> None:
    journal(plant, "good", *answers(output_held__at="02:14"))
    bad = journal(plant, "bad", *answers(output_held__at="02:14"), tag="AIT-2201")
    bad.write_bytes(bad.read_bytes().replace(b'"n":3', b'"n":9'))
    journal_path(plant.folder / "field_sheets" / "empty.toml").write_bytes(b"")
    found = told(plant)
    assert "AIT-2101: output still held since 02:14" in found[1]
    unreadable = found.index("Cannot be read: 2 files")
    assert found[unreadable + 1].startswith(
        "  field_sheets/bad.journal.jsonl: Line 3 of the journal bears the number 9: lines were taken out, "
        "put in or moved; nothing was deleted"
    )
    assert found[unreadable + 1].endswith(
        "Whether an output was left held is not known: look at the analyzer."
    )
    assert found[unreadable + 2].startswith(
        "  field_sheets/empty.journal.jsonl: It holds no whole line, so nothing was entered in it"
    )
    assert len(found) == unreadable + 3


def test_a_journal_that_is_no_file_is_a_line_too(plant: Plant) -> None:
    journal_path(plant.folder / "field_sheets" / "folder.toml").mkdir()
    assert told(plant)[1].startswith("  field_sheets/folder.journal.jsonl: It cannot be read (")


def test_a_procedure_this_version_does_not_know_is_shown_by_its_name(plant: Plant) -> None:
    journal(plant, "a", *answers(), procedure="ozone_check")
    assert '  AIT-2101: ozone_check by T-07; last answer "started" 51 min ago' in told(plant)[1]


# ---------------------------------------------------------------- the book


@pytest.fixture(scope="module")
def performed(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant whose book holds one visit, of which the journal is still there."""
    folder = Path(shutil.copytree(made, tmp_path_factory.mktemp("performed") / "plant"))
    plant = plant_in(tmp_path_factory.mktemp("sheets") / "plant")
    text = sheet_of(plant, "pass").read_text("utf-8")
    (folder / "field_sheets" / "pass.toml").write_text(text, "utf-8")
    acts.perform(open_plant(folder), [folder / "field_sheets" / "pass.toml"], NOW)
    return folder


@pytest.fixture
def entered(performed: Path, tmp_path: Path) -> Plant:
    return open_plant(Path(shutil.copytree(performed, tmp_path / "entered")))


@pytest.mark.slow
def test_a_sheet_that_is_in_the_book_is_not_listed_and_its_amendment_is(entered: Plant) -> None:
    visit = answers(date="2026-05-03", started="08:05", output_held__at="08:13")
    complete = Line(do="complete", digest="0" * 64)
    journal(entered, "pass", *visit, complete)
    assert told(entered, NOW) == ["Nothing is open."]
    replaces = Line(do="answer", path="replaces", text="L1-2026-0001")
    journal(entered, "amended", *visit, replaces, complete)
    assert [one.where.sheet for one in today(entered, NOW).sheets] == ["field_sheets/amended.toml"]
    journal(entered, "other", *answers(date="2026-05-03", started="08:06"), complete)
    assert len(today(entered, NOW).sheets) == 2


@pytest.mark.slow
def test_an_analyzer_that_its_newest_record_left_out_of_service_is_listed(entered: Plant) -> None:
    path = entered.folder / "field_sheets" / "pass.toml"
    text = path.read_text("utf-8")
    left = text.replace("2026-05-03", "2026-05-04").replace(
        'state = "in service"', 'state = "out of service"\nnote = "waits for a new electrode"'
    )
    released = left[left.index("[output_released]") :].split("\n\n")[0]
    left = left.replace(released, '[output_released]\nnot_done = "the sensor is out"')
    assert left.count('not_done = "the sensor is out"') == 1
    second = path.with_name("second.toml")
    second.write_text(left, "utf-8")
    acts.perform(entered, [second], NOW)
    found = told(entered, NOW)
    assert found[0] == "Out of use: 2"
    assert found[1].startswith(
        "  AIT-2101: output still held since 08:13 (2026-05-04), 27 d 22 h, left so because the sensor is "
        "out, pH calibration in buffers by T-07, record L1-2026-0002"
    )
    assert "AIT-2101: out of service since " in found[2]
    assert "left so because waits for a new electrode" in found[2]
    third = path.with_name("third.toml")
    third.write_text(text.replace("2026-05-03", "2026-05-05"), "utf-8")
    acts.perform(entered, [third], NOW)
    assert told(entered, NOW) == ["Nothing is open."]


@pytest.mark.slow
def test_a_book_that_cannot_be_read_is_a_line_and_the_rest_is_shown(entered: Plant) -> None:
    journal(entered, "a", *answers(output_held__at="02:14"))
    Path(entered.book).write_bytes(b"this is no book")
    found = told(entered)
    assert "output still held since 02:14" in found[1]
    assert found[-2] == "Cannot be read: 1 file"
    assert found[-1].startswith("  book.sqlite: ")
    assert found[-1].endswith("Whether an output was left held is not known: look at the analyzer.")


# ---------------------------------------------------------------- rounds


@pytest.mark.slow
def test_a_round_is_listed_until_all_its_stops_are_in_the_book(tmp_path: Path) -> None:
    plant = plant_with_round(tmp_path / "plant")
    one = written(plant)
    folder = f"field_sheets/{one.folder.name}"
    waits = "  2026-05-31 weekly: 2 of 2 not in the book (AIT-2101, AIT-2102)"
    assert told(plant)[-2:] == ["Rounds not run: 1", f"{waits} wqverify step --round '{folder}'"]
    path = journal(plant, f"{one.folder.name}/1 AIT-2101", *answers(output_held__at="02:14"))
    found = told(plant)
    assert "output still held since 02:14" in found[1]
    assert found[-1] == f"{waits} wqverify step --round '{folder}'"
    path.unlink()
    shutil.rmtree(one.folder)
    one = walked(plant)
    assert told(plant)[-1] == f"{waits} wqverify run '{folder}'"
    skip(one, "AIT-2102", "no sample flow")
    assert told(plant)[-1] == f"{waits} wqverify run '{folder}'"
    type_in(one.folder / "1 AIT-2101.toml", "cautions", read="yes")
    acts.perform(plant, [one.folder / "1 AIT-2101.toml"], NOW)
    assert told(plant)[-1].startswith("  2026-05-31 weekly: 1 of 2 not in the book (AIT-2102) wqverify run ")
    acts.perform_walk(plant, [one.folder], NOW)
    assert told(plant, NOW) == ["Nothing is open."]


def test_a_complete_sheet_of_a_round_is_run_with_its_round(plant: Plant) -> None:
    folder = plant.folder / "field_sheets" / "2026-06-01 weekly"
    folder.mkdir(parents=True)
    (folder / "round.toml").write_text(
        'round = "weekly"\ndate = "2026-06-01"\n\n[[stop]]\ntag = "AIT-2101"\n'
        'procedure = "ph_calibration"\nsheet = "1 AIT-2101.toml"\n',
        "utf-8",
    )
    journal(plant, f"{folder.name}/1 AIT-2101", *answers(), Line(do="complete", digest="0" * 64))
    found = told(plant)
    assert found[0] == "Complete, to be run: 1 sheet"
    assert found[1].endswith("wqverify run 'field_sheets/2026-06-01 weekly'")
    assert found[-1].endswith("wqverify run 'field_sheets/2026-06-01 weekly'")
    (folder / "round.toml").write_text("round = weekly\n", "utf-8")
    assert told(plant)[-1].startswith("  field_sheets/2026-06-01 weekly/round.toml: ")


# ---------------------------------------------------------------- the command

Wqverify = Callable[..., tuple[int, str, str]]
TEXT: dict[str, Any] = {"type": ["string", "null"]}
WHERE = {"tag": {"type": "string"}, "procedure": {"type": "string"}} | dict.fromkeys(
    ("by", "sheet", "number"), TEXT
)


def rows(**properties: Any) -> dict[str, Any]:
    one = {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }
    return {"type": "array", "items": one}


OPENED = ("tag", "procedure", "number", "performed", "because")
SHAPE = {
    "type": "object",
    "properties": {
        "now": {"type": "string"},
        "out_of_use": rows(
            **WHERE,
            what={"type": "string"},
            since=TEXT,
            minutes={"type": ["integer", "null"]},
            left_because=TEXT,
            problem=TEXT,
        ),
        "clocks": rows(
            **WHERE,
            what={"type": "string"},
            due={"type": "string"},
            minutes={"type": "integer"},
            source={"type": "string"},
        ),
        "sheets": rows(
            **WHERE,
            state={"enum": list(STATES)},
            began={"type": "string"},
            last_at={"type": "string"},
            last=TEXT,
            to=TEXT,
            text=TEXT,
            round=TEXT,
        ),
        "rounds": rows(
            folder={"type": "string"},
            round={"type": "string"},
            date={"type": "string"},
            waiting={"type": "array", "items": {"type": "string"}},
            stops={"type": "integer"},
            ready={"type": "boolean"},
        ),
        "opened": rows(**{name: {"type": "string"} for name in OPENED}),
        "due": rows(
            tag={"type": "string"},
            procedure={"type": "string"},
            due=TEXT,
            overdue_days={"type": "integer"},
            last=TEXT,
        ),
        "expiring": rows(
            name={"type": "string"},
            what={"enum": ["usable", "calibrated", "licensed"]},
            until={"type": "string"},
            past={"type": "boolean"},
        ),
        "undecided": {"type": "array", "items": {"type": "string"}},
        "unreadable": rows(file={"type": "string"}, sentence={"type": "string"}),
    },
    "required": [
        "now",
        "out_of_use",
        "clocks",
        "sheets",
        "rounds",
        "opened",
        "due",
        "expiring",
        "undecided",
        "unreadable",
    ],
    "additionalProperties": False,
}


@pytest.fixture
def wqverify(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Wqverify:
    """Run a command as the shell would; gives exit code, output, errors."""

    def run(*arguments: str | Path) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["wqverify", *map(str, arguments)])
        monkeypatch.setattr("wqverify.cli.common.datetime", Clock)
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        code = ended.value.code
        return code if isinstance(code, int) else 0, said.out, said.err

    return run


def test_the_document_keeps_its_shape(plant: Plant, wqverify: Wqverify) -> None:
    command = ("today", "--json", "--plant", plant.folder)
    code, out, _ = wqverify(*command)
    jsonschema.validate(json.loads(out), SHAPE)
    assert (code, json.loads(out)["out_of_use"]) == (0, [])
    journal(plant, "a", *answers(output_held__at="02:14"), Line(do="pass on", to="T-11", text="look again"))
    bad = journal(plant, "bad", *answers())
    bad.write_bytes(b"{}\n")
    code, out, _ = wqverify(*command)
    document = json.loads(out)
    jsonschema.validate(document, SHAPE)
    where = {"tag": "AIT-2101", "procedure": "ph_calibration", "by": "T-07", "number": None}
    where["sheet"] = "field_sheets/a.toml"
    since = {"since": "2026-06-01T02:14-05:00", "minutes": 286, "left_because": None, "problem": None}
    assert document["now"] == "2026-06-01T07:00:00-05:00"
    assert document["out_of_use"] == [{**where, "what": "output still held", **since}]
    assert document["sheets"] == [
        {
            **where,
            "state": "passed on",
            "began": "2026-06-01T02:05:00-05:00",
            "last_at": "2026-06-01T02:09:00-05:00",
            "last": "output_held.at",
            "to": "T-11",
            "text": "look again",
            "round": None,
        }
    ]
    assert [one["file"] for one in document["unreadable"]] == ["field_sheets/bad.journal.jsonl"]


def test_the_command_prints_the_list_and_text_of_a_sheet_cannot_steer_the_terminal(
    plant: Plant, wqverify: Wqverify
) -> None:
    journal(plant, "a", *answers(), Line(do="wait", text="\x1b[2J grab"))
    code, out, err = wqverify("today", "--plant", plant.folder)
    assert (code, err) == (0, "")
    assert "\x1b" not in out
    assert "waiting for the laboratory: [U+001B][2J grab" in " ".join(out.split())


def test_a_mistake_in_rounds_toml_is_a_line_and_hides_no_output_that_is_still_held(
    plant: Plant, wqverify: Wqverify
) -> None:
    journal(plant, "a", *answers(output_held__at="02:14"))
    (plant.folder / "rounds.toml").write_text('[[round]]\nname = "weekly"\nstops = "3"\n', "utf-8")
    code, out, err = wqverify("today", "--plant", plant.folder)
    assert (code, err) == (0, "")
    said = " ".join(out.split())
    assert said.startswith("Out of use: 1 AIT-2101: output still held since 02:14 (2026-06-01), 4 h 46 min,")
    assert "Cannot be read: 1 file rounds.toml, line 1: stop is missing; add it." in said
    code, out, _ = wqverify("today", "--json", "--plant", plant.folder)
    jsonschema.validate(json.loads(out), SHAPE)
    assert [one["file"] for one in json.loads(out)["unreadable"]] == ["rounds.toml"]


@pytest.mark.parametrize("name", ["analyzers.toml", "people.toml", "standards_on_hand.toml"])
def test_a_mistake_in_a_file_of_the_plant_is_a_line_too(plant: Plant, wqverify: Wqverify, name: str) -> None:
    journal(plant, "a", *answers(output_held__at="02:14"))
    (plant.folder / name).write_text("person = 3\n", "utf-8")
    (plant.folder / "rounds.toml").write_text("[[round]\n", "utf-8")
    code, out, err = wqverify("today", "--plant", plant.folder)
    assert (code, err) == (0, "")
    said = " ".join(out.split())
    assert said.startswith("Out of use: 1 AIT-2101: output still held since 02:14 (2026-06-01), 4 h 46 min,")
    assert f" {name}, line 1: " in said
    code, out, _ = wqverify("today", "--json", "--plant", plant.folder)
    assert name in [one["file"] for one in json.loads(out)["unreadable"]]


def test_a_mistake_in_plant_toml_is_told_alone(plant: Plant, wqverify: Wqverify) -> None:
    (plant.folder / "plant.toml").write_text("name = 3\n", "utf-8")
    code, out, err = wqverify("today", "--plant", plant.folder)
    assert (code, out) == (2, "")
    assert "plant.toml" in err


@pytest.mark.slow
def test_a_record_is_shown_whatever_is_wrong_in_rounds_toml(entered: Plant, wqverify: Wqverify) -> None:
    (entered.folder / "rounds.toml").write_text("[[round]\n", "utf-8")
    code, out, _ = wqverify("show", "L1-2026-0001", "--plant", entered.folder)
    assert code == 0
    assert out.startswith("L1-2026-0001: performed, not signed")
    code, _, err = wqverify("run", entered.folder / "field_sheets" / "pass.toml", "--plant", entered.folder)
    assert code == 2
    assert "rounds.toml" in err


def test_three_hundred_journals_take_less_than_a_second(plant: Plant) -> None:
    point = [
        Line(do="answer", path=f"as_found.points.{n // 40}.readings.{n % 40}", text="7.01")
        for n in range(100)
    ]
    for n in range(300):
        journal(plant, f"visit {n:03d}", *answers(output_held__at=f"02:{n % 50:02d}"), *point)
    began = time.process_time()  # of this program alone, whatever else the computer does
    found = today(plant, NIGHT)
    assert time.process_time() - began < 1
    assert len(found.out_of_use) == len(found.sheets) == 300
