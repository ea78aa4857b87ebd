"""The plant folder: what it gives, what is refused with file and line, what changed in words."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from wqverify.errors import ChooseAnother, CorrectTheEntry, RepairTheFolder
from wqverify.lists.doubts import doubts
from wqverify.plant.folder import Plant, expected_shares, find_plant, open_plant
from wqverify.plant.new import new_plant
from wqverify.plant.snapshot import changes_between, snapshot
from wqverify.terms import SampleLine

Edit = Callable[[str, str, str], Path]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    new_plant(tmp_path / "plant", name='Ellodale "north" $zone', zone="America/Chicago")
    return tmp_path / "plant"


@pytest.fixture
def edit(folder: Path) -> Edit:
    """Replace one passage of one file."""

    def replace(file: str, old: str, new: str) -> Path:
        path = folder / file
        text = path.read_text("utf-8")
        assert text.count(old) >= 1, f"{file} does not hold {old!r}"
        path.write_text(text.replace(old, new, 1), "utf-8", newline="\n")
        return folder

    return replace


def refusal(folder: Path) -> str:
    with pytest.raises(CorrectTheEntry) as refused:
        open_plant(folder)
    return str(refused.value)


def line_of(folder: Path, file: str, passage: str) -> str:
    lines = (folder / file).read_text("utf-8").split("\n")
    return f"{file}, line {next(n for n, line in enumerate(lines, 1) if passage in line)}"


# ---------------------------------------------------------------- a new folder


def test_a_new_plant_folder_is_valid_and_says_what_it_holds(folder: Path) -> None:
    plant = open_plant(folder)
    analyzer = plant.analyzers["AIT-0001"]
    assert plant.site.name == 'Ellodale "north" $zone'
    assert (str(plant.zone), plant.device, plant.site.retention_years) == ("America/Chicago", "L1", 10)
    assert plant.book == str(folder / "book" / "book.sqlite")
    assert (analyzer.serial, analyzer.low, str(analyzer.high)) == ("SERIAL-0001", Decimal(0), "14.00")
    assert [hop.name for hop in analyzer.hops] == ["analyzer output", "control system"]
    assert list(analyzer.tolerances) == [
        "error", "control_system", "check_buffer", "slope", "offset_mv", "grab", "thermometer"
    ]  # fmt: skip
    assert analyzer.settings["stability_ph"] == "0.02"
    assert analyzer.intervals_days == {"ph_calibration": 30}
    assert set(plant.people) == {"P-01", "R-01"}
    assert set(plant.standards) == {"B7", "B10", "TH1"}


def test_a_new_plant_folder_ships_the_common_criteria(folder: Path) -> None:
    tolerances = open_plant(folder).analyzers["AIT-0001"].tolerances
    sizes = {name: f"{t.low} {t.high} {t.unit}" for name, t in tolerances.items()}
    assert sizes["slope"] == "95 105 %"
    assert sizes["offset_mv"] == "-30 30 mV"
    assert sizes["check_buffer"] == "-0.05 0.05 pH"
    assert {t.basis for t in tolerances.values()} == {"common practice"}


def test_a_new_plant_folder_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("keep", "utf-8")
    with pytest.raises(
        ChooseAnother, match=r" is not an empty folder; name one that is empty or does not exist"
    ):
        new_plant(tmp_path)
    with pytest.raises(ChooseAnother, match="is not an empty folder"):
        new_plant(tmp_path / "mine.txt")
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    new_plant(tmp_path)
    assert open_plant(tmp_path).site.name == "Example water plant"


def test_every_line_of_a_new_folder_that_is_commented_out_is_valid_too(folder: Path) -> None:
    """The commented entries show what else can be written; they must not mislead."""
    for path in folder.glob("*.toml"):
        lines = path.read_text("utf-8").split("\n")
        entries = [
            line[2:] if line.startswith(("# [", "# own")) or _is_entry(line) else line for line in lines
        ]
        path.write_text("\n".join(entries), "utf-8", newline="\n")
    plant = open_plant(folder)
    assert plant.site.address == "1 Example Road"
    assert plant.analyzers["AIT-0001"].sample_line == SampleLine(Decimal("6.0"), Decimal(12), Decimal(500))
    assert plant.people["P-01"].licence_until == "2027-12-31"
    assert plant.standards["B7"].own == ((Decimal(20), Decimal("7.02")), (Decimal(25), Decimal("7.00")))
    (stop,) = plant.rounds["weekly, filter gallery"].stops
    assert (stop.tag, stop.usual["thermometer_check"]) == ("AIT-0001", {"reference": "TH1"})


def _is_entry(line: str) -> bool:
    name, equals, _ = line.removeprefix("# ").partition(" = ")
    return line.startswith("# ") and bool(equals) and name.replace("_", "").isalpha()


# ---------------------------------------------------------------- finding it


def test_the_nearest_folder_above_is_found(folder: Path) -> None:
    (folder / "field_sheets" / "2026").mkdir()
    assert find_plant(folder / "field_sheets" / "2026") == folder
    assert find_plant(folder) == folder


def test_without_a_plant_folder_the_ways_on_are_named(tmp_path: Path) -> None:
    with pytest.raises(
        RepairTheFolder,
        match=r"^There is no plant\.toml in .* or above it; go to the plant folder, name it with --plant, or "
        r"make one with wqverify new\.$",
    ):
        find_plant(tmp_path)


@pytest.mark.parametrize("file", ["plant.toml", "analyzers.toml", "people.toml", "standards_on_hand.toml"])
def test_a_missing_file_is_named(folder: Path, file: str) -> None:
    (folder / file).unlink()
    with pytest.raises(
        RepairTheFolder, match=rf"^The plant folder .* has no {file}; put it back, or make a folder"
    ):
        open_plant(folder)


def test_rounds_may_be_missing(folder: Path) -> None:
    (folder / "rounds.toml").unlink()
    assert open_plant(folder).rounds == {}


# ---------------------------------------------------------------- refused, with file and line

A, P, S, PL, R = "analyzers.toml", "people.toml", "standards_on_hand.toml", "plant.toml", "rounds.toml"
GUARDED = '= "guarded"'
ERROR = "[analyzer.tolerance.error]             # display minus buffer\n"
SECOND = """
[[analyzer]]
tag = "ait-0001"
serial = "2"
kind = "pH analyzer"
measures = "pH"
unit = "pH"
low = "0"
high = "14"
location = "somewhere"
"""


CASES = tomllib.loads((Path(__file__).parent / "data" / "refused_plant_files.toml").read_text("utf-8"))[
    "case"
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["says"])
def test_what_cannot_be_right_is_refused_with_file_and_line(edit: Edit, case: dict[str, str]) -> None:
    folder = edit(case["file"], case["old"], case["new"])
    text = (folder / case["file"]).read_text("utf-8")
    line = text.count("\n", 0, text.index(case["at"])) + 1
    assert f"{case['file']}, line {line}: {case['says']}" in refusal(folder).split("\n")


def test_tags_that_differ_in_capitals_only_are_one_file_and_so_refused(folder: Path) -> None:
    path = folder / A
    path.write_text(path.read_text("utf-8") + SECOND, "utf-8", newline="\n")
    assert (
        refusal(folder) == f"{line_of(folder, A, 'ait-0001')}: tag ait-0001 is given twice (first on line 5)."
    )


def test_a_key_given_twice_is_named_with_both_lines(edit: Edit) -> None:
    folder = edit(A, 'digit = "0.01"', 'unit = "pH"')
    assert refusal(folder) == "analyzers.toml, line 12: unit is given twice (first on line 9); keep one."


def test_all_problems_of_a_file_are_listed(edit: Edit) -> None:
    edit(A, 'serial = "SERIAL-0001"', "serial = 1")
    edit(A, 'rule = "simple"', 'rule = "simpel"')
    folder = edit(A, 'high = "105"', 'high = "1o5"')
    assert [line.partition(": ")[2][:9] for line in refusal(folder).split("\n")] == [
        "serial is",
        "rule is '",
        "high: '1o",
    ]


@pytest.mark.parametrize(
    "name", ["a/b", "..", "a b", "é", ".hidden", "-x", "x" * 33, "CON", "nul.txt", "end."]
)
def test_names_that_cannot_name_files_are_refused(edit: Edit, name: str) -> None:
    folder = edit(P, 'id = "P-01"', f'id = "{name}"')
    assert refusal(folder) == (
        f"people.toml, line 4: id: {name[:40]!r} names files too: at most 32 of the letters A to Z, a to z, "
        f"digits, and . _ - inside, beginning with a letter or digit."
    )


def test_an_empty_name_is_said_to_be_empty(edit: Edit) -> None:
    folder = edit(P, 'id = "P-01"', 'id = ""')
    assert refusal(folder) == "people.toml, line 4: id is empty; fill it in or leave the line out."


@pytest.mark.parametrize("name", ["A", "T-07", "S.2-b", "x" * 32, "CONE"])
def test_names_that_can_name_files_are_taken(edit: Edit, name: str) -> None:
    assert name in open_plant(edit(P, 'id = "P-01"', f'id = "{name}"')).people


@pytest.mark.parametrize(("length", "taken"), [(199, True), (200, True), (201, False)])
def test_text_may_have_200_characters(edit: Edit, length: int, taken: bool) -> None:
    folder = edit(A, 'owner = "placeholder: who answers for it"', f'owner = "{"x" * length}"')
    if taken:
        assert len(open_plant(folder).analyzers["AIT-0001"].owner) == length
    else:
        assert "owner is longer than 200 characters; shorten it." in refusal(folder)


def test_text_comes_in_one_unicode_form(edit: Edit) -> None:
    folder = edit(P, "Placeholder Performer", "Ine\u0301s")
    assert open_plant(folder).people["P-01"].name == "In\u00e9s"


@pytest.mark.parametrize(("size", "taken"), [("13.99", True), ("14.00", True), ("14.01", False)])
def test_a_tolerance_may_not_be_wider_than_the_range(edit: Edit, size: str, taken: bool) -> None:
    folder = edit(A, 'high = "0.10"', f'high = "{size}"')
    if taken:
        assert str(open_plant(folder).analyzers["AIT-0001"].tolerances["error"].high) == size
    else:
        assert refusal(folder) == (
            f"{line_of(folder, A, size)}: tolerance error of AIT-0001: high {size} pH is an allowed error "
            f"wider than the range 0.00 to 14.00 pH."
        )


def test_a_tolerance_of_one_side_is_taken(edit: Edit) -> None:
    tolerance = open_plant(edit(A, 'low = "-0.10"\n', "")).analyzers["AIT-0001"].tolerances["error"]
    assert (tolerance.low, tolerance.high) == (None, Decimal("0.10"))


# ---------------------------------------------------------------- the share of U in a tolerance


@pytest.mark.parametrize(("expanded", "taken"), [("0.069", True), ("0.07", True), ("0.0701", False)])
def test_guarded_is_refused_above_a_share_of_seven_tenths(edit: Edit, expanded: str, taken: bool) -> None:
    folder = edit(A, 'rule = "simple"', f'rule = "guarded"\nexpected_expanded = "{expanded}"')
    if taken:
        assert open_plant(folder).analyzers["AIT-0001"].tolerances["error"].rule == "guarded"
    else:
        assert refusal(folder) == (
            f"{line_of(folder, A, GUARDED)}: tolerance error of AIT-0001: the rule guarded cannot decide "
            f"here, the expanded uncertainty to expect (0.0701 pH) is 0.71 of the tolerance, more than 0.7; "
            f'write rule = "simple", or expected_expanded from your own budget.'
        )


def test_without_a_stated_uncertainty_the_usual_one_of_a_ph_check_counts(edit: Edit, folder: Path) -> None:
    # worked budget of a 10.01 buffer: U 0.037 pH; 0.037 / 0.10 = 0.37, 0.037 / 0.05 = 0.74
    assert open_plant(edit(A, 'rule = "simple"', 'rule = "guarded"'))
    edit(A, 'low = "-0.10"\nhigh = "0.10"', 'low = "-0.05"\nhigh = "0.05"')
    assert "(0.037 pH) is 0.74 of the tolerance, more than 0.7" in refusal(folder)


@pytest.mark.parametrize(
    ("new", "says"),
    [
        ("", "rule is missing; add it."),
        ('rule = ""', "rule is ''; it must be 'as the method states', 'simple' or 'guarded'."),
        ('rule = " "', "rule is ' '; it must be 'as the method states', 'simple' or 'guarded'."),
    ],
)
def test_w56_a_tolerance_without_a_rule_is_refused_in_the_register(edit: Edit, new: str, says: str) -> None:
    """W56: a limit named and its decision rule left blank; ISO/IEC 17025:2017, 7.8.6."""
    folder = edit(A, 'rule = "simple"', new)
    assert says in refusal(folder)
    assert refusal(folder).startswith("analyzers.toml, line ")


def test_the_expected_shares_are_shown_for_every_rule(edit: Edit) -> None:
    edit(A, 'rule = "simple"', 'rule = "guarded"')
    plant = open_plant(edit(A, 'unit = "%"', 'unit = "%"\nexpected_expanded = "0.81"'))
    assert expected_shares(plant) == (
        "AIT-0001, tolerance error: U 0.037 pH (assumed) is 0.37 of 0.10; guarded passes within 0.063; above "
        "a third the rule simple decides more visits",
        "AIT-0001, tolerance check_buffer: U 0.037 pH (assumed) is 0.74 of 0.05; judged simple",
        "AIT-0001, tolerance slope: U 0.81 % is 0.17 of 5; judged simple",
        "AIT-0001, tolerance grab: U 0.065 pH (assumed) is 0.33 of 0.2; judged simple",
    )


def test_guarded_without_any_uncertainty_to_expect_says_what_is_missing(edit: Edit) -> None:
    edit(A, 'measures = "pH"', 'measures = "conductivity"')
    plant = open_plant(edit(A, 'rule = "simple"', 'rule = "guarded"'))
    assert expected_shares(plant) == (
        "AIT-0001, tolerance error: judged guarded, and no uncertainty to expect is known; add "
        "expected_expanded",
    )


# ---------------------------------------------------------------- usable until


@pytest.mark.parametrize(
    ("printed", "in_use", "until", "because"),
    [
        # opened 2020-01-01; 2020 is a leap year: 60 days later is 1 March
        ("2020-03-02", "60", "2020-03-01", "opened 2020-01-01, usable for 60 days"),
        ("2020-03-01", "60", "2020-03-01", "date printed on it"),
        ("2020-02-29", "60", "2020-02-29", "date printed on it"),
    ],
)
def test_usable_until_is_the_earliest_and_says_why(
    edit: Edit, printed: str, in_use: str, until: str, because: str
) -> None:
    edit(S, 'printed_until = "2020-12-31"', f'printed_until = "{printed}"')
    standard = open_plant(edit(S, 'in_use_days = "90"', f'in_use_days = "{in_use}"')).standards["B7"]
    assert (standard.usable_until, standard.because) == (until, because)


def test_a_prepared_standard_has_its_own_life(edit: Edit) -> None:
    folder = edit(S, 'in_use_days = "90"', 'prepared = "2019-12-30"\nprepared_life_days = 7')
    standard = open_plant(folder).standards["B7"]
    assert (standard.usable_until, standard.because) == (
        "2020-01-06",
        "prepared 2019-12-30, usable for 7 days",
    )


def test_a_standard_without_any_date_has_no_end(folder: Path) -> None:
    standard = open_plant(folder).standards["TH1"]
    assert (standard.usable_until, standard.because, standard.calibration_due) == ("", "", "2020-12-31")


def test_the_book_may_be_elsewhere_or_on_a_server(edit: Edit) -> None:
    edit(PL, '# url = "book/book.sqlite"', 'url = "postgresql://book.example/plant"')
    plant = open_plant(edit(PL, "holidays = []", 'holidays = ["2026-12-25"]'))
    assert plant.book == "postgresql://book.example/plant"
    assert plant.holidays == (date(2026, 12, 25),)


# ---------------------------------------------------------------- what changed


@pytest.fixture
def changed(folder: Path, edit: Edit) -> Callable[..., list[tuple[str, str, str, str]]]:
    before = snapshot(open_plant(folder))

    def after(file: str, old: str, new: str) -> list[tuple[str, str, str, str]]:
        return list(changes_between(before, snapshot(open_plant(edit(file, old, new)))))

    return after


CONTROL_SYSTEM = 'name = "control system"\nlow = "0.00"\nhigh = "{}"'
Changed = Callable[[str, str, str], list[tuple[str, str, str, str]]]


@pytest.mark.parametrize(
    ("file", "old", "new", "row"),
    [
        (A, 'high = "0.10"', 'high = "0.05"',
         ("AIT-0001", "tolerance error of AIT-0001: high", "0.10", "0.05")),
        (A, "SERIAL-0001", "SERIAL-0009", ("AIT-0001", "AIT-0001: serial", "SERIAL-0001", "SERIAL-0009")),
        (A, 'stability_ph = "0.02"', 'stability_ph = "0.05"',
         ("AIT-0001", "AIT-0001: setting stability_ph", "0.02", "0.05")),
        (A, 'ph_calibration = "30"', 'ph_calibration = "90"',
         ("AIT-0001", "AIT-0001: interval in days ph_calibration", "30", "90")),
        (A, CONTROL_SYSTEM.format("14.00"), CONTROL_SYSTEM.format("10.00"),
         ("AIT-0001", "hop control system of AIT-0001: high", "14.00", "10.00")),
        (A, 'digit = "0.01"', "", ("AIT-0001", "AIT-0001: digit", "0.01", "")),
        (P, '# licence = "number"', 'licence = "C 12"', ("P-01", "person P-01: licence", "", "C 12")),
        (P, "may_review = false", "may_review = true", ("P-01", "person P-01: may review", "no", "yes")),
        (S, "LOT-0002", "LOT-0003", ("B10", "standard B10: lot", "LOT-0002", "LOT-0003")),
        (S, "# own =", "own =", ("B7", "standard B7: own table", "", "20: 7.02, 25: 7.00")),
        (PL, "America/Chicago", "America/Denver",
         ("plant", "plant: time zone", "America/Chicago", "America/Denver")),
        (PL, "holidays = []", 'holidays = ["2026-12-25"]', ("plant", "plant: holidays", "", "2026-12-25")),
    ],
)  # fmt: skip
def test_a_change_is_said_in_words(
    changed: Changed, file: str, old: str, new: str, row: tuple[str, ...]
) -> None:
    assert changed(file, old, new) == [row]


def test_a_date_that_moves_the_end_of_use_shows_both(changed: Changed) -> None:
    assert changed(S, 'in_use_days = "90"', 'in_use_days = "91"') == [
        ("B7", "standard B7: usable until", "2020-03-31", "2020-04-01"),
        (
            "B7",
            "standard B7: because",
            "opened 2020-01-01, usable for 90 days",
            "opened 2020-01-01, usable for 91 days",
        ),
    ]


def test_a_tolerance_that_is_gone_or_new_is_one_row(folder: Path, edit: Edit) -> None:
    before = snapshot(open_plant(folder))
    after = snapshot(open_plant(edit(A, ERROR, "[analyzer.tolerance.error_small]\n")))
    size = (
        "unit pH, rule simple, basis common practice, source placeholder: the plant's own procedure, section"
    )
    size += ", low -0.10, high 0.10, larger of no"
    assert set(changes_between(before, after)) == {
        ("AIT-0001", "AIT-0001: tolerance error", size, ""),
        ("AIT-0001", "AIT-0001: tolerance error_small", "", size),
    }


def test_entries_added_and_removed_are_named(folder: Path, edit: Edit) -> None:
    before = snapshot(open_plant(folder))
    edit(P, 'id = "R-01"', 'id = "R-02"')
    rows = changes_between(before, snapshot(open_plant(folder)))
    reviewer = "id {}, name Placeholder Reviewer, may perform yes, may review yes"
    assert rows == (
        ("R-01", "person R-01: removed", reviewer.format("R-01"), ""),
        ("R-02", "person R-02: added", "", reviewer.format("R-02")),
    )


def test_nothing_changed_is_nothing(changed: Changed) -> None:
    assert changed(A, "# The register", "# My register") == []


def test_a_snapshot_is_plain_text_and_survives_json(folder: Path) -> None:
    plain = snapshot(open_plant(folder))
    assert json.loads(json.dumps(plain)) == plain

    def only_text(value: object) -> bool:
        return isinstance(value, str) or (isinstance(value, dict) and all(map(only_text, value.values())))

    assert only_text(plain)


def test_a_plant_is_frozen(folder: Path) -> None:
    plant: Plant = open_plant(folder)
    with pytest.raises(AttributeError):
        plant.device = "L2"  # type: ignore[misc]


def test_doubts_name_what_is_allowed_and_most_often_a_mistake(tmp_path: Path) -> None:
    folder = tmp_path / "plant"
    new_plant(folder)
    register = folder / "analyzers.toml"
    text = register.read_text("utf-8")
    text = text.replace('ph_calibration = "30"', 'ph_calibratoin = "30"')
    text = text.replace('low = "-0.10"\nhigh = "0.10"', 'low = "-0.10"\nhigh = "10"', 1)
    register.write_text(text.replace("stability_ph =", "stabilty_ph ="), "utf-8")
    told = doubts(open_plant(folder), date(2026, 3, 1))
    for line in (
        "setting stabilty_ph of AIT-0001 is read by no procedure; is it misspelt?",
        "interval ph_calibratoin of AIT-0001 is read by no procedure; is it misspelt?",
        "tolerance error of AIT-0001 is -0.10 to 10; is one of them mistyped?",
        "B7 7.00 ready-made (placeholder) was usable until 2020-03-31.",
        "TH1 reference thermometer (placeholder) was calibrated until 2020-12-31.",
    ):
        assert line in told
    assert told[-1].endswith("entries are still placeholders.")


def test_the_example_sheet_of_a_new_plant_computes_there(tmp_path: Path) -> None:
    from wqverify.acts import compute_only

    folder = tmp_path / "plant"
    new_plant(folder)
    (sheet,) = (folder / "field_sheets").glob("*.toml")
    (record,) = compute_only(open_plant(folder), [sheet], datetime(2026, 3, 1, tzinfo=UTC))
    assert record.result.outcome("as_found") == "pass"


# ---------------------------------------------------------------- range and trigger, step and tolerance


def turbidity(edit: Edit, **hop: str) -> Path:
    """The analyzer of a new plant as one of turbidity, 0 to 100 NTU, each hop 0 to 5 NTU unless said."""
    edit(A, 'measures = "pH"', 'measures = "turbidity"')
    folder = edit(A, 'unit = "pH"', 'unit = "NTU"')
    register = folder / A
    text = register.read_text("utf-8")
    head, _, _ = text.partition("[[analyzer.hop]]")
    head = head.replace('high = "14.00"', f'high = "{hop.get("top", "100")}"')
    settings = f'[analyzer.settings]\nmust_show = "{hop["must_show"]}"\n' if "must_show" in hop else ""
    rows = "".join(
        f'[[analyzer.hop]]\nname = "{name}"\nlow = "{hop.get("low", "0")}"\nhigh = "{high}"\n'
        f'unit = "{hop.get("unit", "NTU")}"\n\n'
        for name, high in (("output", "5"), ("archive", hop.get("high", "5")))
    )
    held = (
        '[analyzer.tolerance.control_system]\nlow = "-0.10"\nhigh = "0.10"\nunit = "NTU"\nrule = "simple"\n'
        'basis = "local"\nsource = "invented"\n\n'
    )
    register.write_text(f"{head}{rows}{held}{settings}", "utf-8")
    return folder


RULE = "(40 CFR 141.175(b)(1) and 141.563: more than 1.0 NTU, twice in a row)"
WAYS = 'widen the range, or where another trigger holds here write must_show = "..." under settings.'


@pytest.mark.parametrize(
    ("high", "taken"), [("1.001", True), ("1.0", False), ("1", False), ("0.999", False), ("5", True)]
)
def test_a_range_that_ends_at_a_trigger_can_never_show_more(edit: Edit, high: str, taken: bool) -> None:
    """0-1 NTU records 1.0 at most; the rule asks for more than 1.0 NTU."""
    folder = turbidity(edit, high=high)
    if taken:
        assert open_plant(folder).analyzers["AIT-0001"].unit == "NTU"
    else:
        where = line_of(folder, A, f'high = "{high}"')
        assert refusal(folder) == (
            f"{where}: the range of the hop archive of AIT-0001 ends at {high} NTU and can never show more "
            f"than 1.0 NTU, which it must {RULE}; {WAYS}"
        )


def test_the_range_of_the_analyzer_itself_counts_too(edit: Edit) -> None:
    said = refusal(turbidity(edit, top="1.0"))
    assert "the range of AIT-0001 ends at 1.0 NTU and can never show more than 1.0 NTU" in said


@pytest.mark.parametrize(("must_show", "taken"), [("4.999", True), ("5", False), ("5.001", False)])
def test_a_plant_may_name_another_trigger(edit: Edit, must_show: str, taken: bool) -> None:
    folder = turbidity(edit, must_show=must_show)
    if taken:
        assert open_plant(folder).analyzers["AIT-0001"].settings["must_show"] == must_show
    else:
        assert (
            f"the range of the hop archive of AIT-0001 ends at 5 NTU and can never show more than "
            f"{must_show} NTU, which it must (must_show under settings); {WAYS}"
        ) in refusal(folder)


def test_a_range_that_begins_above_a_trigger_can_never_show_less(edit: Edit) -> None:
    said = refusal(turbidity(edit, low="0.5", must_show="0.5"))
    assert "begins at 0.5 NTU and can never show less than 0.5 NTU" in said


@pytest.mark.parametrize("unit", ["mA", "%"])
def test_a_hop_in_another_unit_is_not_compared(edit: Edit, unit: str) -> None:
    assert open_plant(turbidity(edit, unit=unit, high="1"))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('must_show = "yes"', "the setting must_show of AIT-0001 is 'yes'; it is a number from"),
        (
            'converter_bits = "12.5"',
            "the setting converter_bits of AIT-0001 is '12.5'; it is a whole number from 8 to 24.",
        ),
        (
            'converter_bits = "7"',
            "the setting converter_bits of AIT-0001 is '7'; it is a whole number from 8 to 24.",
        ),
    ],
)
def test_what_the_register_reads_itself_has_its_bounds(edit: Edit, text: str, says: str) -> None:
    assert says in refusal(edit(A, "[analyzer.settings]\n", f"[analyzer.settings]\n{text}\n"))


def steps(folder: Path) -> list[str]:
    return [line for line in doubts(open_plant(folder), date(2026, 3, 1)) if "the step decides" in line]


@pytest.mark.parametrize(("digit", "said"), [("0.019", False), ("0.02", False), ("0.021", True), ("", False)])
def test_a_display_is_coarse_from_more_than_a_fifth_of_a_tolerance(
    edit: Edit, digit: str, said: bool
) -> None:
    """A fifth of 0.10 pH; the check buffer has 0.05 pH and is told from 0.01 on, so it is left out."""
    folder = edit(A, 'digit = "0.01"', f'digit = "{digit}"' if digit else "")
    found = [line for line in steps(folder) if "tolerance error" in line]
    assert found == (
        [
            "AIT-0001 shows steps of 0.021 pH, more than a fifth of the tolerance error, 0.10 pH: the step "
            "decides, not the instrument; narrow the range, show more digits, or widen the tolerance."
        ]
        if said
        else []
    )


@pytest.mark.parametrize(("bits", "said"), [("9", True), ("10", False), ("12", False), ("", False)])
def test_a_converter_is_coarse_from_more_than_a_fifth_of_the_tolerance(
    edit: Edit, bits: str, said: bool
) -> None:
    """14 pH over 2^9 - 1 steps are 0.0274 pH, over 2^10 - 1 steps 0.0137 pH; a fifth of 0.10 pH is 0.02."""
    if bits:
        edit(A, "[analyzer.settings]\n", f'[analyzer.settings]\nconverter_bits = "{bits}"\n')
    found = [line for line in steps(edit(A, "AIT-0001", "AIT-0001")) if "converter" in line]
    assert found == (
        [
            "AIT-0001: a converter of 9 bits over 14.00 pH has steps of 0.027 pH, more than a fifth of the "
            "tolerance control_system, 0.10 pH: the step decides, not the instrument; narrow the range, show "
            "more digits, or widen the tolerance."
        ]
        if said
        else []
    )


def test_twelve_bits_over_a_wide_range_are_assumed_and_said(edit: Edit) -> None:
    """100 NTU over 4095 steps are 0.024 NTU: too coarse for 0.10 NTU of the tolerance here."""
    folder = turbidity(edit, high="100")
    (line,) = [line for line in steps(folder) if "converter" in line]
    assert line.startswith("AIT-0001: a converter of 12 bits (assumed) over 100 NTU has steps of 0.024 NTU")


def test_settings_of_the_register_itself_are_no_misspelling(edit: Edit) -> None:
    folder = edit(A, "[analyzer.settings]\n", '[analyzer.settings]\nconverter_bits = "16"\n')
    assert not [x for x in doubts(open_plant(folder), date(2026, 3, 1)) if "converter_bits" in x]
