"""The command wqverify step: what is named, what is refused, and lines in place of a person."""

from __future__ import annotations

import io
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from plant_example import plant_in
from whole_visit import answers_of, clock, stepped

import wqverify.desk
from wqverify.acts import HeadOf, prepare_round
from wqverify.cli import main
from wqverify.cli.step_commands import go_on
from wqverify.desk import open_desk
from wqverify.plant.folder import open_plant

Step = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("step") / "plant"
    plant_in(folder)
    return folder


@pytest.fixture
def plant(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = Path(shutil.copytree(made, tmp_path / "plant"))
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def step(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Step:
    """Run the command with lines in place of a person; gives exit code, output, errors."""

    def run(*arguments: str | Path, lines: str = "") -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["wqverify", "step", *map(str, arguments)])
        monkeypatch.setattr(sys, "stdin", io.StringIO(lines))
        monkeypatch.setattr(
            wqverify.desk, "open_desk", lambda *a, **k: open_desk(*a, **{**k, "clock": clock})
        )
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        assert isinstance(ended.value.code, int)
        return ended.value.code, told.out, told.err

    return run


REFUSED = [
    (("ph_calibraton", "AIT-2101"), "There is no procedure ph_calibraton; did you mean ph_calibration?"),
    (("ph_calibration", "AIT-2110"), "There is no analyzer AIT-2110 in analyzers.toml; did you mean AIT-2"),
    (("AIT-2101", "ph_calibration"), "The procedure comes first: wqverify step ph_calibration AIT-2101"),
    (("ph_calibration",), "ph_calibration needs the tag of an analyzer too; in the register: AIT-2101"),
    (("AIT-2101",), "AIT-2101 needs a procedure before it; there is ph_calibration"),
    (("ph_calibratoin",), "is no field sheet (.toml), procedure or tag; did you mean ph_calibration?"),
    (("a", "b", "c"), "a b c: that is 3 words; a visit is named by procedure and tag, or by its sheet."),
    (("none.toml",), "none.toml"),
    (("--round", "none"), "none"),
    (("ph_calibration", "AIT-2101", "--round", "x"), "name the folder of a round or one visit, not both"),
]


@pytest.mark.usefixtures("plant")
@pytest.mark.parametrize(("arguments", "says"), REFUSED, ids=lambda x: str(x)[:40])
def test_what_names_no_visit_is_said_with_what_is_known(
    step: Step, arguments: tuple[str, ...], says: str
) -> None:
    code, _out, err = step(*arguments)
    assert code == 2, err
    assert says in err


def test_lines_of_a_program_go_through_a_whole_visit(step: Step, plant: Path, tmp_path: Path) -> None:
    twin = Path(shutil.copytree(plant, tmp_path / "twin"))
    desk = open_desk(twin, procedure="ph_calibration", tag="AIT-2101", clock=clock)
    name, lines = desk.screen.sheet, []
    for screen, act in stepped(desk, answers_of(twin)):
        keys = {key.do: key.key for key in screen.keys}
        lines.append(act.text if act.do == "answer" else keys[act.do])
    desk.close()
    code, out, _err = step("ph_calibration", "AIT-2101", lines="".join(f"{line}\n" for line in lines))
    assert code == 0
    assert f"{name} is written." in out
    sheets = [folder / "field_sheets" / name for folder in (plant, twin)]
    assert sheets[0].read_bytes() == sheets[1].read_bytes()


def test_the_end_of_the_lines_is_no_error_and_the_visit_goes_on_where_it_was(step: Step, plant: Path) -> None:
    code, out, _err = step("ph_calibration", "AIT-2101", lines="EL-0417\nroutine\n")
    assert code == 0
    assert "Everything is saved in" in " ".join(out.split())
    (journal,) = (plant / "field_sheets").glob("*.journal.jsonl")
    sheet = journal.with_name(journal.name.replace(".journal.jsonl", ".toml"))
    for arguments, lines in (((sheet,), ""), ((), "1\n"), (("ph_calibration", "AIT-2101"), "1\n")):
        code, out, _err = step(*arguments, lines=lines)
        assert code == 0
        assert "\nPerformed by: \n" in out
        assert "Reason of the visit" not in out


def test_a_sheet_that_is_open_elsewhere_is_refused_in_words(step: Step, plant: Path) -> None:
    desk = open_desk(plant, procedure="ph_calibration", tag="AIT-2101", clock=clock)
    code, _out, err = step(plant / "field_sheets" / desk.screen.sheet)
    desk.close()
    assert code == 2
    assert "open" in err


def test_a_stop_of_a_round_goes_on_with_its_round(step: Step, plant: Path) -> None:
    opened = open_plant(plant)
    name = next(name for name, one in opened.rounds.items() if len(one.stops) == 1)
    folder = prepare_round(opened, name, HeadOf("T-07"), clock(), plant / "field_sheets" / "the round").folder
    code, out, _err = step("--round", folder, lines="1\nEL-0417\n")
    assert code == 0
    assert "Serial on the plate: EL-0417" in out
    assert out.splitlines()[-1] == f"  wqverify step --round '{folder}'"
    assert "Serial on the plate" not in step("--round", folder, lines="1\n")[1]


def test_the_command_that_goes_on_names_what_was_named() -> None:
    assert go_on((), None, None) == "wqverify step"
    assert go_on(("ph_calibration", "AIT-2101"), None, None) == "wqverify step"
    assert go_on(("field_sheets/a b.toml",), None, None) == "wqverify step 'field_sheets/a b.toml'"
    assert go_on((), Path("weekly"), Path("north")) == "wqverify step --round weekly --plant north"
