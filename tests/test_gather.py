"""What is gathered for a visit: the settings of the register within the bounds the procedure names."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest
from plant_example import case_of, plant_in

from wqverify.book import Book, open_book
from wqverify.cli import main
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.gather import earlier, trends_of
from wqverify.plant.folder import open_plant
from wqverify.procedures import PROCEDURES
from wqverify.records.record import compute

VISIT = "pass"  # with grab, check buffer and thermometer, and no adjustment that a setting could forbid


def set_in_register(folder: Path, line: str) -> None:
    """Set a setting of AIT-2101, the first analyzer of the demo plant."""
    file = folder / "analyzers.toml"
    name = line.partition(" = ")[0]
    head, heading, rest = file.read_text("utf-8").partition("[analyzer.settings]\n")
    kept = [row for row in rest.split("\n") if not row.startswith(f"{name} =")]
    file.write_text(head + heading + "\n".join([line, *kept]), "utf-8")


@pytest.mark.parametrize(
    ("setting", "taken", "refused"),
    [
        ("junction_ph", ("0", "0.03", "1"), ("-0.03", "-0.001", "1.01")),
        ("gradient_c", ("0", "20"), ("-1", "20.1")),
        ("creep_mv", ("0", "50"), ("-0.5", "50.1")),
        ("stability_ph", ("0.001", "1"), ("0", "-0.02", "0.0009", "1.001", "yes")),
        ("signal_ma", ("0", "1"), ("-0.01", "1.001")),
        ("grabs_agree_ph", ("0.001", "1"), ("-1", "0", "1.001")),
        ("stability_readings", ("1", "60"), ("0", "61", "3.0", "-3")),
        ("stability_interval_s", ("1", "3600"), ("0", "3601")),
    ],
)
def test_around_the_bounds_of_a_setting(
    tmp_path: Path, setting: str, taken: tuple[str, ...], refused: tuple[str, ...]
) -> None:
    plant = plant_in(tmp_path / "p")
    for text in taken:
        set_in_register(plant.folder, f'{setting} = "{text}"')
        compute(case_of(open_plant(plant.folder), VISIT))
    for text in refused:
        set_in_register(plant.folder, f'{setting} = "{text}"')
        with pytest.raises(CorrectTheEntry) as caught:
            case_of(open_plant(plant.folder), VISIT)
        wanted = PROCEDURES["ph_calibration"].settings[setting]
        assert caught.value.message == (
            f"The setting {setting} of AIT-2101 in analyzers.toml is '{text}'; ph_calibration takes {wanted}."
        )


def test_every_lowest_and_highest_setting_gives_a_result(tmp_path: Path) -> None:
    plant = plant_in(tmp_path / "p")
    for end in ("low", "high"):
        for name, setting in PROCEDURES["ph_calibration"].settings.items():
            set_in_register(plant.folder, f'{name} = "{getattr(setting, end)}"')
        assert compute(case_of(open_plant(plant.folder), VISIT)).checks


def test_plant_check_refuses_settings_out_of_bounds_and_tells_all(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    plant = plant_in(tmp_path / "p")

    def check() -> tuple[int | str | None, str]:
        monkeypatch.setattr(sys, "argv", ["wqverify", "plant", "check", "--plant", str(plant.folder)])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        return ended.value.code, said.out + said.err

    code, said = check()
    assert code == 0
    assert "analyzers.toml is" not in said
    set_in_register(plant.folder, 'junction_ph = "-0.03"')
    set_in_register(plant.folder, 'stability_ph = "0"')
    assert check() == (
        2,
        "The setting stability_ph of AIT-2101 in analyzers.toml is '0'; ph_calibration takes a number from "
        "0.001 to 1.\n"
        "The setting junction_ph of AIT-2101 in analyzers.toml is '-0.03'; ph_calibration takes a number "
        "from 0 to 1.\n",
    )


# ---------------------------------------------------------------- what a visit looks back at


def entered(
    book: Book, number: str, performed: str, procedure: str, serial: str = "EL-0417", **facts: str
) -> None:
    """Enter that something was performed, with nothing but what a later visit finds it by."""
    body = {
        "by": "T-07",
        "pdf": "ab" * 32,
        "tag": "AIT-2101",
        "serial": serial,
        "procedure": procedure,
        "performed": performed,
        "visit": f"visit of {number}",
        "outcomes": [["as_found at the analyzer", "pass"]],
        "values": {"as_found.error": "0.02"},
        "facts": facts,
    }
    with book.writing() as writer:
        writer.append(
            "performed",
            key=f"performed {number}",
            record=number,
            at=performed,
            stored=number.encode(),
            body=body,
        )


@pytest.fixture
def book(tmp_path: Path) -> Book:
    book = open_book(tmp_path / "book.sqlite", "L1", create=True)
    entered(book, "L1-2026-0001", "2026-05-01T08:00-05:00", "ph_calibration", adjusted="yes")
    entered(book, "L1-2026-0002", "2026-05-02T08:00-05:00", "grab_comparison", "EL-0001")
    entered(book, "L1-2026-0003", "2026-05-04T08:00-05:00", "grab_comparison")
    entered(book, "L1-2026-0004", "2026-05-03T08:00-05:00", "ph_calibration")
    entered(book, "L1-2026-0005", "2026-05-09T08:00-05:00", "grab_comparison")
    return book


@pytest.mark.parametrize(
    ("looks_back", "expected"),
    [
        ({}, ["0004"]),
        ({"ph_calibration": 2}, ["0004", "0001"]),
        ({"grab_comparison": 1}, ["0003", "0004"]),
        ({"grab_comparison": 5}, ["0003", "0004", "0002"]),  # another serial as well: the procedure judges it
        ({"*": 9}, ["0003", "0004", "0002", "0001"]),
        ({"chlorine_check": 3}, ["0004"]),
    ],
)
def test_a_visit_is_told_what_its_procedure_looks_back_at(
    book: Book, tmp_path: Path, looks_back: dict[str, int], expected: list[str]
) -> None:
    """Newest work first; what was done later than this visit is not known to it."""
    plant = plant_in(tmp_path / "p")
    procedure = replace(PROCEDURES["ph_calibration"], looks_back=looks_back)
    told, since = earlier(book, plant.analyzers["AIT-2101"], procedure, "2026-05-08T00:00-05:00")
    assert [one.number.removeprefix("L1-2026-") for one in told] == expected
    assert since is not None
    assert since.record == "L1-2026-0004", "changes are told since the last of its own kind"


def test_what_is_told_of_an_earlier_record(book: Book, tmp_path: Path) -> None:
    plant = plant_in(tmp_path / "p")
    told, _ = earlier(
        book, plant.analyzers["AIT-2101"], PROCEDURES["ph_calibration"], "2026-05-02T00:00-05:00"
    )
    (one,) = told
    assert (one.number, one.serial, one.procedure) == ("L1-2026-0001", "EL-0417", "ph_calibration")
    assert one.values == {"as_found.error": "0.02"}
    assert one.facts == {"adjusted": "yes"}


@pytest.mark.parametrize(
    ("file", "said"),
    [("none.csv", "There is no file"), ("other.csv", "other.csv has no channel AIT2202.PV or AIT-2202")],
)
def test_an_export_that_cannot_be_taken_names_the_line_of_the_sheet(
    tmp_path: Path, file: str, said: str
) -> None:
    plant = plant_in(tmp_path / "p")
    (plant.folder / "trends").mkdir(exist_ok=True)
    rows = "Time,OTHER (NTU)\n2026-03-01T00:00:00-06:00,0.1\n2026-03-01T00:15:00-06:00,0.1\n"
    (plant.folder / "trends" / "other.csv").write_text(rows, "utf-8")
    doubt, times = PROCEDURES["values_in_doubt"], {"started": "2026-03-01T00:00:00-06:00"}
    with pytest.raises((CorrectTheEntry, ChooseAnother)) as caught:
        trends_of(plant, doubt, {"trend": file}, plant.analyzers["AIT-2202"], times, where_line_7)
    assert caught.value.message.startswith("visit.toml, line 7: ")
    assert said in caught.value.message
    assert caught.value.where == "visit.toml, line 7"


def where_line_7(path: str) -> str:
    """Where the sheet names its export."""
    assert path == "trend"
    return "visit.toml, line 7"
