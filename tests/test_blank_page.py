"""The printed blank of a field sheet: every question on at most two pages, whatever the plant is called."""

from __future__ import annotations

import json
import re
import sys
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import asdict, replace
from decimal import Decimal
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from pdf_text import count, page_texts, runs, squeezed, words
from plant_example import Clock, plant_in
from pydantic import BaseModel

from wqverify.cli import main
from wqverify.entry.paper import left_out, paper, sections
from wqverify.plant.folder import Plant, open_plant
from wqverify.procedures import PROCEDURES
from wqverify.procedures.turbidity_parts import TurbidityPoint
from wqverify.procedures.walk import questions
from wqverify.show.blank_page import FITS, HIGHER, make_blank_page
from wqverify.show.wording import SYNTHETIC
from wqverify.terms import Analyzer, Earlier, Standard, Tolerance

DAY = "2026-05-20"
TAGS = {
    "ph_calibration": "AIT-2101",
    "turbidity_standard_check": "AIT-2202",
    "turbidity_calibration": "AIT-2201",
    "standard_preparation": "AIT-2201",
    "grab_comparison": "AIT-2201",
    "chlorine_check": "AIT-2301",
    "loop_check": "AIT-2101",
    "flow_check": "FIT-1101",
    "level_check": "LIT-3101",
    "conductivity_check": "AIT-2401",
    "temperature_check": "AIT-2101",
    "call_out": "AIT-2301",
    "monitor_outage": "AIT-2301",
    "values_in_doubt": "AIT-2202",
    "turbidity_month": "AIT-2210",
}
every_procedure = pytest.mark.parametrize("name", PROCEDURES)
HOSTILE = ("W" * 200, "long words of a plant " * 9, "水" * 200, "#table(*[`$x_1$`] <a> @b // \\u{1} " * 5)


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    return plant_in(tmp_path_factory.mktemp("blank") / "plant")


def printed(plant: Plant, name: str, analyzer: Analyzer | None = None, *earlier: Earlier) -> bytes:
    known = analyzer or plant.analyzers[TAGS[name]]
    return make_blank_page(asdict(paper(PROCEDURES[name], known, plant, DAY, earlier)))


@pytest.fixture(scope="module")
def pages(plant: Plant) -> dict[str, bytes]:
    return {name: printed(plant, name) for name in PROCEDURES}


def labels(part: type[BaseModel]) -> Iterator[str]:
    """Every label of a sheet, also of the parts in it and of what they can be instead."""
    for question in questions(part):
        if left_out(part, question.name):
            continue
        yield question.ask.label
        for inner in question.parts:
            yield from labels(inner)


def asked_of(plant: Plant, name: str) -> set[str]:
    """The labels that stand on a blank: no sample flow where the register has no line and none is read."""
    sheet = PROCEDURES[name].Sheet
    sampled = sheet.SAMPLED or plant.analyzers[TAGS[name]].sample_line is not None
    return set(labels(sheet)) - (set() if sampled else {"sample flow"})


# ---------------------------------------------------------------- everything is asked


def test_every_procedure_is_tried_on_an_analyzer() -> None:
    assert set(TAGS) == set(PROCEDURES)


@every_procedure
def test_a_blank_has_at_most_two_pages(pages: dict[str, bytes], name: str) -> None:
    assert count(pages[name]) <= 2


@every_procedure
def test_every_question_of_the_sheet_stands_on_the_paper(
    plant: Plant, pages: dict[str, bytes], name: str
) -> None:
    said = words(pages[name])
    wanted = asked_of(plant, name)
    assert len(wanted) > 25
    assert [label for label in sorted(wanted) if squeezed(label) not in said] == []


@every_procedure
def test_the_questions_come_in_the_order_of_the_work(plant: Plant, name: str) -> None:
    found = [one.label for one in sections(PROCEDURES[name], plant.analyzers[TAGS[name]]) if one.label]
    whole = PROCEDURES[name].Sheet
    sheet = [q.ask.label for q in questions(whole) if q.parts and not left_out(whole, q.name)]
    inside = [label for label in found if label not in sheet]  # parts of a part come right after it
    asked = [label for label in found if label not in inside]
    copied = next(q.ask.label for q in questions(PROCEDURES[name].Sheet) if q.name == "copied_from_paper")
    assert asked == [*(label for label in sheet if label != copied), copied]
    for label in inside:
        before = found[: found.index(label)]
        assert label.partition(", ")[0] == before[-1].partition(", ")[0]


@every_procedure
def test_every_caution_stands_whole_on_the_first_page(pages: dict[str, bytes], name: str) -> None:
    first = squeezed(page_texts(pages[name])[0])
    for caution in PROCEDURES[name].cautions:
        assert squeezed(caution.text) in first, caution.text


def test_words_to_choose_from_stand_beside_boxes_to_tick(pages: dict[str, bytes]) -> None:
    said = words(pages["ph_calibration"])
    for word in ("call-out", "two-point", "out of service", "own eyes", "information only", "after cleaning"):
        assert squeezed(word) in said, word


def test_each_part_can_be_said_not_to_have_been_done(plant: Plant) -> None:
    found = list(sections(PROCEDURES["turbidity_standard_check"], plant.analyzers["AIT-2202"]))
    as_found = next(one for one in found if one.label == "as found")
    reasons = [space.label for space in as_found.spaces if space.kind == "because"]
    assert reasons == ["zero water not done, because", "not done, because"]
    status = next(one for one in found if one.label == "status")
    assert not [space for space in status.spaces if space.kind == "because"]


def test_points_are_rows_with_a_box_for_each_reading_and_zero_water_is_one_of_them(plant: Plant) -> None:
    found = sections(PROCEDURES["turbidity_standard_check"], plant.analyzers["AIT-2202"])
    points = next(one for one in found if one.label == "as found").tables[0]
    assert points.columns[0].kind == "name"
    assert "numbers" in [space.kind for space in points.columns]
    (zero,) = points.named
    assert zero.label == "zero water"
    not_asked = [c.label for c, asked in zip(points.columns, zero.asked, strict=True) if not asked]
    own = ("use", "insertions")  # whether it counts, and how often a secondary standard was put in
    assert not_asked == [one.ask.label for one in questions(TurbidityPoint) if one.name in own]


def test_the_unit_is_that_of_the_analyzer(plant: Plant) -> None:
    other = replace(plant.analyzers["AIT-2202"], unit="FNU")
    found = sections(PROCEDURES["turbidity_standard_check"], other)
    units = {space.unit for one in found for table in one.tables for space in table.columns}
    assert "FNU" in units
    assert not units & {"NTU", "analyzer"}


AT_AN_INSTRUMENT = (
    "output held", "loop in manual", "alarm blocked", "operations told", "condition on arrival",
    "output released", "loop in automatic", "alarm restored", "loop current",
)  # fmt: skip


@pytest.mark.parametrize("name", [name for name in PROCEDURES if PROCEDURES[name].Sheet.DESK])
def test_at_a_desk_nothing_is_asked_that_is_done_at_an_instrument(pages: dict[str, bytes], name: str) -> None:
    said = words(pages[name])
    assert [label for label in AT_AN_INSTRUMENT if squeezed(label) in said] == []


def test_at_an_instrument_all_of_it_is_asked(pages: dict[str, bytes]) -> None:
    said = words(pages["monitor_outage"])
    assert [label for label in AT_AN_INSTRUMENT if squeezed(label) not in said] == []
    assert {name for name in PROCEDURES if PROCEDURES[name].Sheet.DESK} == {
        "standard_preparation",
        "values_in_doubt",
        "turbidity_month",
    }


def with_filters(plant: Plant, count: int) -> Plant:
    first = plant.analyzers["AIT-2201"]
    more = {f"AIT-99{n:02d}": replace(first, tag=f"AIT-99{n:02d}") for n in range(count)}
    return replace(plant, analyzers={**plant.analyzers, **more})


@pytest.mark.parametrize("count_of", [0, 12])
def test_each_filter_of_the_register_has_its_row(plant: Plant, count_of: int) -> None:
    full = with_filters(plant, count_of)
    others = {tag for tag, one in full.analyzers.items() if one.measures == "turbidity"} - {"AIT-2210"}
    assert len(others) == 2 + count_of
    pdf = printed(full, "turbidity_month")
    second = "".join(page_texts(pdf))
    assert [tag for tag in others if tag not in second] == []
    assert count(pdf) == 2


def test_what_stands_deeper_in_a_row_says_of_which_it_is(pages: dict[str, bytes]) -> None:
    assert squeezed("of which filter") in words(pages["turbidity_month"])
    assert squeezed("for stage and point") not in words(pages["turbidity_month"])
    assert squeezed("for stage and point") in words(pages["turbidity_calibration"])


def test_a_long_table_goes_on_over_the_page_with_its_heads(pages: dict[str, bytes]) -> None:
    first, second = map(squeezed, page_texts(pages["monitor_outage"]))
    assert squeezed("grab collected at") in first
    assert squeezed("grab collected at") in second


@every_procedure
def test_no_word_is_printed_over_another(pages: dict[str, bytes], name: str) -> None:
    """Two runs of text on one line do not share a place."""
    found = sorted(runs(pages[name]), key=lambda run: (run.page, run.x))
    over = [
        (one.text, other.text)
        for n, one in enumerate(found)
        for other in found[n + 1 :]
        if one.page == other.page and abs(one.y - other.y) < 5.5 and other.x < one.x + one.width - 0.5
    ]
    assert over == []


# ---------------------------------------------------------------- what is known beforehand


def test_the_paper_says_what_it_is_and_what_it_is_not(pages: dict[str, bytes]) -> None:
    for number, page in enumerate(page_texts(pages["ph_calibration"]), 1):
        said = squeezed(page)
        for text in (
            "blank field sheet, not a record",
            f"AIT-2101, ph_calibration revision 1, page {number} of 2",
            "Ellodale water plant",
            "filled in by",
            "paper kept at",
            SYNTHETIC,
        ):
            assert squeezed(text) in said, text


def test_a_real_plant_has_no_synthetic_label(plant: Plant) -> None:
    real = replace(plant, site=replace(plant.site, synthetic=False))
    assert squeezed(SYNTHETIC) not in words(printed(real, "chlorine_check"))


def test_the_first_page_tells_analyzer_tolerances_and_what_is_on_hand(pages: dict[str, bytes]) -> None:
    first = squeezed(page_texts(pages["ph_calibration"])[0])
    for text in (
        "serial in the register, to compare with the plate EL-0417",
        "Filter gallery, panel FG-2",
        "pH, 0 to 14 pH",
        "error ±0.10 pH, guarded; Ellodale procedure EP-12 rev. 3 (invented)",
        "slope 95 to 105 %, simple; common practice, no source",
        "offset ±30 mV",
        "B7-4471 pH 7.00 ready-made 4471 2026-10-08",
        "T-17 Reference thermometer",
    ):
        assert squeezed(text) in first, text
    assert "FZ-7712" not in first  # a standard of turbidity
    assert squeezed("Past its day, not to be used: B10-1990 (until 2026-04-19)") in first


def test_a_value_assigned_to_this_analyzer_stands_beside_its_standard(pages: dict[str, bytes]) -> None:
    assert squeezed("near 0.5 NTU: 0.507 NTU here") in words(pages["turbidity_standard_check"])
    assert squeezed("near 0.5 NTU: no value here yet") in words(pages["turbidity_calibration"])


def test_an_analyzer_without_tolerances_and_a_plant_without_standards_say_so(plant: Plant) -> None:
    bare = replace(plant, standards={})
    said = words(printed(bare, "ph_calibration", replace(plant.analyzers["AIT-2101"], tolerances={})))
    assert squeezed("The register holds none for this procedure.") in said
    assert squeezed("Nothing that fits is on hand.") in said


def test_the_figures_that_bind_are_printed_with_their_source(pages: dict[str, bytes]) -> None:
    """40 CFR 141.74, 141.75, 141.174, 141.175, 141.173 and 141.551, by the practice notes of the project."""
    first = {name: squeezed(page_texts(pages[name])[0]) for name in PROCEDURES}
    for name, text in (
        ("monitor_outage", "a grab every 4 h; 40 CFR 141.74(c)(2)"),
        ("monitor_outage", "back in service within 5 working days after the failure; 40 CFR 141.74(c)(2)"),
        ("monitor_outage", "residual below 0.2 mg/L no more than 4 h; 40 CFR 141.72(a)(3) and (b)(2)"),
        ("monitor_outage", "calibration with a grab every 5 days; 40 CFR 141.74(a)(2)"),
        ("values_in_doubt", "95 % of the values not above 0.3 NTU in at least 95 %; 40 CFR 141.173(a)(1)"),
        ("values_in_doubt", "two in a row after 4 h above 0.5 NTU; 40 CFR 141.175(b)(2)"),
        (
            "turbidity_month",
            "at least 95 % of the values at most 0.3 NTU, none above 1 NTU",
        ),
        ("turbidity_month", "two recordings in a row of a filter above 1.0 NTU"),
    ):
        assert squeezed(text) in first[name], text
        assert squeezed("The register holds none") not in first[name]


def test_the_figures_are_those_it_judges_by(plant: Plant) -> None:
    """What the register sets stands on the blank in the place of the rule."""

    def figures(analyzer: Analyzer) -> str:
        binds = paper(PROCEDURES["monitor_outage"], analyzer, plant, DAY).binds
        return squeezed(" ".join(f"{one.what} {one.bounds}; {one.source}" for one in binds))

    known = plant.analyzers["AIT-2301"]
    strict = replace(known.tolerances["grab"], unit="min", low=None, high=Decimal(120), percent=None)
    own = replace(
        known,
        settings={"outage_days": "14", "residual_limit": "0.5", "approved_protocol": "1"},
        tolerances={"outage_grab": replace(strict, larger_of=False, source="letter of the State (invented)")},
    )
    said = figures(own)
    assert squeezed("a grab every 2 h; letter of the State (invented)") in said
    assert squeezed("within 14 days after the failure; 40 CFR 141.403(b)(3)(i)(A)") in said
    assert squeezed("residual below 0.5 mg/L") in said
    assert squeezed("calibration with a grab every") not in said
    of_turbidity = figures(plant.analyzers["AIT-2210"])
    assert squeezed("a grab is analysed within 48 h") in of_turbidity
    assert squeezed("above 1 NTU tell the State by the end of the next business day") in of_turbidity
    assert squeezed("above 5 NTU consult the State within 24 h; 40 CFR 141.75(b)(3)(ii)") in of_turbidity
    unset = figures(replace(known, settings={}))
    assert squeezed("back in service not known; the register does not say") in unset


def test_what_the_last_record_came_to_is_told(plant: Plant) -> None:
    earlier = Earlier(
        "L1-2026-0007",
        "2026-05-10T08:05:00-04:00",
        "EL-0417",
        {"as_found": "fail", "as_left": "pass"},
        procedure="ph_calibration",
    )
    said = words(printed(plant, "ph_calibration", None, earlier))
    assert squeezed("last time 2026-05-10 08:05, record L1-2026-0007: as found fail, as left pass") in said
    procedure, known = PROCEDURES["ph_calibration"], plant.analyzers["AIT-2101"]
    other = replace(earlier, procedure="grab_comparison")
    assert paper(procedure, known, plant, DAY, (other,)).last == ""


# ---------------------------------------------------------------- room to write, whatever stands there


def test_the_same_plant_gives_the_same_bytes(plant: Plant, pages: dict[str, bytes]) -> None:
    assert printed(plant, "grab_comparison") == pages["grab_comparison"]


def test_lines_are_six_millimetres_high_and_everything_is_black_and_large_enough() -> None:
    template = files("wqverify").joinpath("show", "blank_1.typ").read_text("utf-8")
    assert min(fit.high for fit in FITS) / 72 * 25.4 >= 6
    assert min(HIGHER) / 72 * 25.4 >= 6
    assert "let high = sheet.high * 1pt" in template
    sizes = re.findall(r"(?:text\(|size: |#let small = )([\d.]+)pt", template)
    assert len(sizes) > 8
    assert min(map(float, sizes)) >= 7
    assert not re.search(r"luma|gr[ae]y|rgb|fill:", template)


def many_bottles(plant: Plant, text: str, number: int = 40) -> dict[str, Standard]:
    first = next(one for one in plant.standards.values() if one.id == "B7-4471")
    return {
        f"B{n:02d}": replace(first, id=f"B{n:02d}-{'x' * 28}", name=text, lot=text, certificate=text)
        for n in range(number)
    }


def test_of_many_standards_the_first_are_listed_and_the_others_counted(plant: Plant) -> None:
    pdf = printed(replace(plant, standards=many_bottles(plant, "buffer")), "ph_calibration")
    said = words(pdf)
    listed = len(set(re.findall(r"B\d\d-x", said)))
    assert 6 <= listed <= 12
    assert squeezed(f"and {40 - listed} more on hand") in said
    assert count(pdf) == 2


@pytest.mark.parametrize(
    ("name", "text"),
    [("ph_calibration", text) for text in HOSTILE] + [(name, HOSTILE[1]) for name in TAGS][1:],
)
@pytest.mark.slow
def test_the_longest_texts_leave_two_pages_and_every_question(plant: Plant, name: str, text: str) -> None:
    text = text.strip()[:200]
    procedure, known = PROCEDURES[name], plant.analyzers[TAGS[name]]
    wide = Tolerance(
        known.unit, "guarded", "local", text, Decimal("-1234567.123456"), Decimal("1234567.123455")
    )
    analyzer = replace(
        known,
        tag="W" * 32,
        serial=text,
        location=text,
        sample_point=text,
        measures=text,
        output=text,
        control_system_tag=text,
        tolerances=dict.fromkeys(procedure.tolerances, wide),
    )
    full = replace(
        plant,
        site=replace(plant.site, name=text),
        standards={key: replace(one, unit=known.unit) for key, one in many_bottles(plant, text).items()},
    )
    pdf = printed(full, name, analyzer)
    said = words(pdf)
    assert count(pdf) == 2
    assert [one for one in asked_of(plant, name) if squeezed(one) not in said] == []
    beyond = [run for run in runs(pdf) if run.x < 30 or run.x + run.width > 612 - 29 or run.y < 18]
    assert not beyond, beyond[:3]


# ---------------------------------------------------------------- the command

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


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_command_writes_a_page_and_never_over_another(
    plant: Plant, here: Path, wqverify: Wqverify
) -> None:
    command = ("blank", "ph_calibration", "AIT-2101", "--plant", plant.folder)
    code, out, _ = wqverify(*command)
    page = here / "blank ph_calibration AIT-2101.pdf"
    assert (code, count(page.read_bytes())) == (0, 2)
    assert out.splitlines() == [
        "blank ph_calibration AIT-2101.pdf: pH calibration in buffers of AIT-2101, blank.",
        "To type it later: wqverify step ph_calibration AIT-2101 --from-paper",
    ]
    page.write_bytes(b"written on")
    code, out, err = wqverify(*command)
    assert (code, out, page.read_bytes()) == (2, "", b"written on")
    assert err == (
        "blank ph_calibration AIT-2101.pdf is there already; nothing was written, as nothing is ever "
        "overwritten. Name another file with --out, or with --sheet.\n"
    )
    assert wqverify(*command, "--out", "other.pdf")[0] == 0
    assert (here / "other.pdf").read_bytes().startswith(b"%PDF")


def test_the_command_writes_a_sheet_to_fill_in_an_editor(
    plant: Plant, here: Path, wqverify: Wqverify
) -> None:
    command = ("blank", "chlorine_check", "AIT-2301", "--sheet", "visit.toml", "--plant", plant.folder)
    code, out, _ = wqverify(*command)
    assert (code, out) == (0, "visit.toml: Chlorine check against grabs of AIT-2301, blank.\n")
    assert [path.name for path in here.iterdir()] == ["visit.toml"]
    text = (here / "visit.toml").read_text("utf-8")
    raw = tomllib.loads(text)
    assert (raw["procedure"], raw["tag"], raw["date"]) == ("chlorine_check", "AIT-2301", "")
    assert text.startswith(
        "# Field sheet, Chlorine check against grabs of AIT-2301, Clearwell, panel CW-1.\n"
    )
    assert wqverify(*command)[0] == 2
    assert (here / "visit.toml").read_text("utf-8") == text


def test_both_are_written_where_both_are_named_and_told_as_json(
    plant: Plant, here: Path, wqverify: Wqverify
) -> None:
    named = ("--sheet", "a.toml", "--out", "a.pdf")
    code, out, _ = wqverify("blank", "grab_comparison", "AIT-2201", *named, "--json", "--plant", plant.folder)
    told: Any = json.loads(out)
    assert code == 0
    assert told == {"procedure": "grab_comparison", "tag": "AIT-2201", "page": "a.pdf", "sheet": "a.toml"}
    assert {path.name for path in here.iterdir()} == {"a.toml", "a.pdf"}


def test_a_procedure_or_analyzer_there_is_not_is_answered_with_the_nearest(
    plant: Plant, here: Path, wqverify: Wqverify
) -> None:
    code, _, err = wqverify("blank", "ph_calibratoin", "AIT-2101", "--plant", plant.folder)
    assert (code, err) == (2, "There is no procedure 'ph_calibratoin'; did you mean ph_calibration?\n")
    code, _, err = wqverify("blank", "ph_calibration", "AIT-2111", "--plant", plant.folder)
    assert code == 2
    assert re.fullmatch(r"There is no analyzer 'AIT-2111'; did you mean AIT-2[12][01]1\?\n", err), err
    assert list(here.iterdir()) == []


def test_what_is_printed_is_the_folder_as_it_stands_now(
    here: Path, wqverify: Wqverify, tmp_path_factory: pytest.TempPathFactory
) -> None:
    other = plant_in(tmp_path_factory.mktemp("other") / "plant").folder
    register = other / "analyzers.toml"
    register.write_text(register.read_text("utf-8").replace("EL-0417", "EL-0999"), "utf-8")
    assert wqverify("blank", "ph_calibration", "AIT-2101", "--plant", other)[0] == 0
    said = words((here / "blank ph_calibration AIT-2101.pdf").read_bytes())
    assert "EL-0999" in said
    assert squeezed("Printed 2026-06-01") in said
    assert open_plant(other).analyzers["AIT-2101"].serial == "EL-0999"
