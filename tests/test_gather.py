"""What is gathered for a visit: the settings of the register within the bounds the procedure names."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from plant_example import case_of, plant_in

from wqverify.cli import main
from wqverify.errors import CorrectTheEntry
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
