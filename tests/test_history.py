"""The history of a tag: what it computes, what it refuses, how it is shown, in the notebook and as data."""

from __future__ import annotations

import csv
import json
import re
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from statistics import median
from typing import Any

import pytest
from clean_notebook import insist_on_clean, shipped_notebook
from history_rows import TAG, check, enter_rows, record, weekly
from plant_example import MONTH, Clock
from scipy.stats import binom, binomtest

import wqverify.cli.common as common
from wqverify.calculations.decision_risk import false_accept
from wqverify.cli import main
from wqverify.cli.history_commands import COLUMNS
from wqverify.demo.ellodale import make_plant
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.lists.history import (
    FIRM,
    History,
    figures_of,
    found_in_tolerance,
    history,
    history_of_periods,
    open_history,
    taken,
)
from wqverify.lists.history_advice import DRIFT, INTERVAL_TEST, METHODS, RELIABILITY, Advice, Choices
from wqverify.lists.history_brief import brief, good_as
from wqverify.lists.history_charts import control_charts, run_chart
from wqverify.lists.history_risk import risk_of
from wqverify.lists.history_series import Period
from wqverify.lists.history_shown import ADVICE, HEADINGS, IN_MIND, RISK, ROWS, headline, section, title
from wqverify.plant.folder import Plant, open_plant
from wqverify.records import notebook as run_notebook
from wqverify.shipped import shipped_folder
from wqverify.show.terminal import text

ERRORS = ("0.01", "0.03", "0.02", "0.05", "0.06", "0.15", "0.02", "0.03", "0.02", "0.04", "0.05", "0.07")


@pytest.fixture
def plant(tmp_path: Path) -> Plant:
    return make_plant(tmp_path / "plant", MONTH)


@pytest.fixture
def filled(plant: Plant) -> Plant:
    enter_rows(plant, weekly(*ERRORS, None, *ERRORS[:5]))
    return plant


def shown(found: History, heading: str, key: str = "") -> str:
    return " ".join(text(section(found, heading, key), 200).split())


def advice_of(found: History) -> Advice:
    return next(iter(found.instruments[-1].advice.values()))


# ---------------------------------------------------------------- what it computes


def test_series_charts_drift_and_advice_of_a_tag(filled: Plant) -> None:
    (instrument,) = history(filled, TAG).instruments
    (figures,) = instrument.figures
    assert [kept.number for kept in instrument.adjusted] == ["L1-2026-0006"]
    assert (len(figures.series.points), figures.series.values.count(None)) == (18, 1)
    assert figures.charts is not None
    assert figures.charts.individuals.ranges[6] is None  # across the adjustment
    assert figures.charts.individuals.ranges[12:14] == (None, None)  # around the missing value
    assert figures.changes[4:6] == ((25, pytest.approx(0.14)), (5, pytest.approx(0.02)))
    assert figures.drift is not None
    assert figures.line is not None
    found = advice_of(history(filled, TAG))
    assert (found.current, found.current_from) == (5, "the register")
    # the first check has none before it, one was not evaluated, one failed
    assert (found.checks, found.passed, found.left_out, found.undecided) == (16, 15, 0, 1)


def test_an_exchanged_instrument_is_shown_beside_the_other(plant: Plant) -> None:
    enter_rows(plant, weekly(*ERRORS), serial="EL-0588")
    later = [(day.replace("2026-0", "2026-1"), *rest) for day, *rest in weekly("0.01", "0.02", "0.01")]
    enter_rows(plant, [(day, data, told) for day, data, told in later if day < "2026-13"])
    found = history(plant, TAG)
    assert [one.serial for one in found.instruments] == ["EL-0588", "EL-0611"]
    assert "EL-0588" in shown(found, HEADINGS[2])
    assert "EL-0611" in shown(found, HEADINGS[2])
    assert "An exchanged instrument begins series of its own" in shown(found, HEADINGS[0])
    # the register plans the instrument that is there now; the other has none of its own
    assert [next(iter(one.advice.values())).current_from for one in found.instruments] == [
        "the median of the days between checks",
        "the register",
    ]


def test_where_most_visits_adjust_the_charts_do_not_begin_anew_each_time(plant: Plant) -> None:
    enter_rows(plant, weekly("0.11", "0.13", "0.12", "0.14", "0.11"))
    (figures,) = history(plant, TAG).instruments[0].figures
    assert figures.charts is not None
    assert figures.charts.individuals.mean_range == pytest.approx((0.02 + 0.01 + 0.02 + 0.03) / 4)


def test_equal_values_give_no_limits_and_one_value_no_drift(plant: Plant) -> None:
    enter_rows(plant, weekly("0.02", "0.02"))
    (figures,) = history(plant, TAG).instruments[0].figures
    assert figures.charts is None
    assert figures.refused["charts"] == "all values that follow one another are equal; they give no limits"
    assert "needs more than 1 checks on different days" in figures.refused["drift"]
    assert figures.signals == ()


@pytest.mark.parametrize(
    ("outcomes", "found"),
    [
        ({"as_found at the analyzer": "pass", "as_found at the control system": "fail"}, True),
        ({"as_found at the control system": "fail"}, False),
        ({"as_found at the analyzer": "too close to decide"}, None),
        ({"as_found at the analyzer": "not evaluated"}, None),
        ({"as_left at the analyzer": "pass"}, None),
        ({}, None),
    ],
)
def test_found_in_tolerance_is_the_verdict_as_found(outcomes: dict[str, str], found: bool | None) -> None:
    assert found_in_tolerance(outcomes) is found


# ---------------------------------------------------------------- advice


@pytest.mark.parametrize(
    ("n", "sentence"),
    [
        (13, "no advice: 12 checks are too few, 14 are needed"),
        (14, "no advice: 13 checks are too few, 14 are needed"),
        (15, "lengthen it to 6.3 d"),
        (16, "lengthen it to 6.4 d"),
    ],
)
def test_an_interval_may_grow_from_fourteen_checks_in_tolerance_on(
    plant: Plant, n: int, sentence: str
) -> None:
    enter_rows(plant, weekly(*["0.01", "0.02"] * (n // 2), *["0.01"] * (n % 2)))
    assert headline(advice_of(history(plant, TAG))) == sentence


def test_failures_shorten_it_and_one_review_only_so_far(plant: Plant) -> None:
    enter_rows(plant, weekly(*["0.15", "0.14"] * 10))
    found = advice_of(history(plant, TAG))
    assert headline(found) == "shorten it to 2.5 d, as far as one review goes"
    assert found.chosen.capped
    milder = advice_of(history(plant, TAG, choices={"most": 1.5}))
    assert milder.chosen.days == pytest.approx(5 / 1.5)


def test_checks_far_from_the_interval_do_not_count(plant: Plant) -> None:
    enter_rows(plant, weekly(*["0.01"] * 20, days=8))
    found = advice_of(history(plant, TAG))
    assert (found.checks, found.left_out, found.observed) == (0, 19, None)
    assert [one.told for one in found.suggested[:2]] == ["no check lies about an interval apart"] * 2


@pytest.mark.parametrize(("days", "used"), [(2, False), (3, True), (7, True), (8, False)])
def test_about_an_interval_is_within_half_of_it(plant: Plant, days: int, used: bool) -> None:
    enter_rows(plant, weekly("0.01", "0.02", days=days))
    assert (advice_of(history(plant, TAG)).checks == 1) is used


def test_the_methods_are_named_and_one_is_chosen(filled: Plant) -> None:
    found = advice_of(history(filled, TAG, choices={"method": RELIABILITY}))
    assert tuple(one.method for one in found.suggested) == METHODS == (INTERVAL_TEST, RELIABILITY, DRIFT)
    assert found.chosen.method == RELIABILITY
    assert found.chosen.low is not None
    assert found.chosen.high is not None
    assert found.chosen.low < 5 * 0.0513 / 0.0645 < found.chosen.high
    assert all(one.source for one in found.suggested)


def test_nothing_failed_says_no_more_than_at_least(plant: Plant) -> None:
    enter_rows(plant, weekly(*["0.01", "0.02"] * 8))
    found = advice_of(history(plant, TAG, choices={"method": RELIABILITY}))
    assert headline(found).startswith("no advice: no failure in 15 checks: it says only")


def test_targets_are_settings_of_the_analyzer(filled: Plant) -> None:
    path = filled.folder / "analyzers.toml"
    old = "\n[analyzer.interval_days]\nchlorine_check"  # the settings of AIT-2301 stand before it
    new = 'interval_target_percent = "80"\ninterval_change_most = "1.5"\n'
    path.write_text(path.read_text("utf-8").replace(old, new + old), "utf-8")
    choices = advice_of(history(open_plant(filled.folder), TAG)).choices
    assert (choices.target, choices.most) == (0.8, 1.5)
    assert advice_of(history(open_plant(filled.folder), TAG, choices={"target": 0.9})).choices.target == 0.9


def test_the_plan_stays_as_it_is(filled: Plant) -> None:
    before = {path: path.read_bytes() for path in filled.folder.rglob("*") if path.is_file()}
    history(filled, TAG)
    assert before == {path: path.read_bytes() for path in filled.folder.rglob("*") if path.is_file()}


# ---------------------------------------------------------------- refused


def test_a_tag_without_records_is_refused(filled: Plant) -> None:
    with pytest.raises(
        ChooseAnother, match=r"The book holds no record of AIT-9; the register holds AIT-2101"
    ):
        history(filled, "AIT-9")
    said = "no record of AIT-2301 by call_out; it holds records by chlorine_check."
    with pytest.raises(ChooseAnother, match=said):
        history(filled, TAG, "call_out")


@pytest.mark.parametrize(
    ("choices", "said"),
    [({"targets": 0.9}, "no choice targets"), ({"method": "A4"}, "no choice A4")],
)
def test_an_unknown_choice_is_refused(choices: dict[str, Any], said: str) -> None:
    with pytest.raises(ChooseAnother, match=said):
        taken({}, choices)


@pytest.mark.parametrize(
    ("choices", "fits"),
    [
        ({"target": 0.49}, False),
        ({"target": 0.5}, True),
        ({"target": 0.999}, True),
        ({"target": 1.0}, False),
        ({"most": 1.0}, False),
        ({"most": 1.01}, True),
        ({"most": 10.0}, True),
        ({"most": 10.1}, False),
    ],
)
def test_choices_have_bounds(choices: dict[str, float], fits: bool) -> None:
    if fits:
        assert taken({}, choices) == replace(Choices(), **choices)
        return
    with pytest.raises(CorrectTheEntry, match="gives no advice; the target lies from"):
        taken({}, choices)


# ---------------------------------------------------------------- real logs


def periods(folder: Path, file: str) -> list[Period]:
    """A public log: "gap" is added to the raw value, so that the error was the other way round."""
    rows = list(csv.reader((folder / file).read_text("utf-8-sig").splitlines()))[2:]
    stamps = [tuple(datetime.fromisoformat(one).replace(tzinfo=UTC) for one in row[:2]) for row in rows]
    return [Period(*stamp, -Decimal(row[2])) for stamp, row in zip(stamps, rows, strict=True)]


@pytest.mark.parametrize(
    ("file", "unit", "limit", "n", "within"),
    [
        ("river_main_street_drift_cond.csv", "uS/cm", "5", 45, 16),
        ("river_main_street_drift_do.csv", "mg/L", "0.3", 13, 12),
    ],
)
def test_a_real_log_of_calibrations(
    real_data: Path, file: str, unit: str, limit: str, n: int, within: int
) -> None:
    """Counts as SOURCES tells them; the advice against the formulas written out with scipy."""
    log = periods(real_data, file)
    figures, found = history_of_periods(log, label="drift", unit=unit, low=f"-{limit}", high=limit)
    outcomes = [point.outcome for point in figures.series.points]
    assert (len(outcomes), outcomes.count("pass")) == (n, within)
    assert found is not None
    days = [(one.end - one.start).total_seconds() / 86400 for one in log]
    about = median(days)
    used = [
        abs(one.error) <= Decimal(limit)
        for one, d in zip(log, days, strict=True)
        if abs(d / about - 1) <= 0.5
    ]
    assert (found.current, found.checks, found.passed) == (about, len(used), sum(used))
    share = binomtest(sum(used), len(used)).proportion_ci(0.95, method="exact")
    assert found.observed == pytest.approx((share.low, share.high), abs=1e-9)
    observed = sum(used) / len(used)
    q = 1 - 2 * binom.cdf(sum(used), len(used), 0.95)
    test, _reliability, drift = found.suggested
    wanted = about * 10 ** ((observed - 0.95) * q) if observed < 0.95 and q > 0.5 else about
    assert test.days == pytest.approx(min(max(wanted, about / 2), about * 2))
    slope = sum(d * float(one.error) for d, one in zip(days, log, strict=True)) / sum(d * d for d in days)
    assert figures.drift is not None
    assert figures.drift.coefficients[0] == pytest.approx(slope, rel=1e-9)
    assert (
        drift.told
        == "drift: its scatter alone is wider than the tolerance; a shorter interval does not mend that"
    )
    assert run_chart(figures).startswith(b"<?xml")


def test_the_conductivity_log_asks_for_half_the_interval(real_data: Path) -> None:
    log = periods(real_data, "river_main_street_drift_cond.csv")
    _figures, found = history_of_periods(log, label="drift", unit="uS/cm", low="-5", high="5")
    assert found is not None
    assert (found.checks, found.passed) == (32, 11)
    assert headline(found) == "shorten it to 11 d, as far as one review goes"


def test_the_oxygen_log_is_too_short_for_advice(real_data: Path) -> None:
    log = periods(real_data, "river_main_street_drift_do.csv")
    _figures, found = history_of_periods(log, label="drift", unit="mg/L", low="-0.3", high="0.3")
    assert found is not None
    assert headline(found) == "no advice: 8 checks are too few, 14 are needed"
    assert any(note.startswith("Too few checks: 8 that are about an interval apart") for note in found.notes)


# ---------------------------------------------------------------- shown


def test_every_list_says_that_it_is_unsigned_and_synthetic(filled: Plant) -> None:
    found = text(title(history(filled, TAG)), 100)
    assert "Unsigned: A list, not a record: nobody signs it" in found
    assert "Synthetic data: an invented analyzer of an invented plant." in found


def test_every_section_shows_something(filled: Plant) -> None:
    found = history(filled, TAG)
    for heading in HEADINGS:
        assert shown(found, heading) != "None.", heading
    values = shown(found, HEADINGS[2])
    assert f"{18 - ROWS} older ones are not listed here." in values
    assert "−0.1 to 0.1" in values
    everything = text(section(found, HEADINGS[2], everything=True), 200)
    assert everything.count("L1-2026-") == 18
    assert "fail" in everything
    assert "adjusted" in everything
    assert f"Limits from fewer than {FIRM} values" in shown(found, IN_MIND)


@pytest.mark.parametrize(
    ("errors", "passes", "good"),
    [
        (("0.01",), "the one there is, as found", "2026-01-05, L1-2026-0001"),
        (("0.01", "0.1"), "all 2 as found", "2026-01-10, L1-2026-0002"),
        (("0.01", "0.101"), "none: L1-2026-0002 of 2026-01-10 was out of tolerance as found", "2026-01-05"),
        (
            ("0.2", "0.01", "0.02"),
            "2 as found; L1-2026-0001 of 2026-01-05 was out of tolerance",
            "2026-01-15",
        ),
        (("0.01", None, "0.01"), "1 as found; L1-2026-0002 of 2026-01-10 was not decided", "2026-01-15"),
        (("0.01", "0.01", None), "none: L1-2026-0003 of 2026-01-15 was not decided as found", "2026-01-10"),
    ],
)
def test_passes_in_a_row_end_where_one_failed_or_was_not_decided(
    plant: Plant, errors: tuple[str | None, ...], passes: str, good: str
) -> None:
    enter_rows(plant, weekly(*errors))
    found = text(brief(history(plant, TAG)), 150)
    assert passes in found
    assert f"last good check             {good}" in found


@pytest.mark.parametrize(
    ("outcomes", "stage"),
    [
        ({}, ""),
        ({"as_found at the analyzer": "pass"}, "as_found"),
        ({"as_found at the analyzer": "too close to decide"}, ""),
        ({"as_found at the analyzer": "fail", "as_left at the analyzer": "pass"}, "as_left"),
        ({"as_found at the analyzer": "pass", "as_left at the analyzer": "fail"}, ""),
        ({"as_left at the analyzer": "pass", "as_left at the control system": "not evaluated"}, ""),
        ({"after_cleaning at the analyzer": "pass"}, ""),
    ],
)
def test_a_good_check_left_it_in_tolerance_at_every_place(outcomes: dict[str, str], stage: str) -> None:
    assert good_as(outcomes) == stage


def test_the_drift_that_is_shown_first_takes_most_of_its_tolerance(plant: Plant) -> None:
    """By hand: 0.01 and 0.04 mg/L a week, in tolerances of 0.1 and 1 mg/L: the first is nearer to its end."""
    rows = []
    for week, (day, _data, told) in enumerate(weekly("0.00", "0.01", "0.02", "0.03", days=7)):
        wide = {"low": "-1", "high": "1", "label": "Error of the display, wide"}
        two = [check("as_found.a", f"{0.01 * week:.2f}"), check("as_found.b", f"{0.04 * week:.2f}", **wide)]
        rows.append((day, record(two), told))
    enter_rows(plant, rows)
    found = text(brief(history(plant, TAG)), 150)
    assert f"drift per day               {0.01 / 7:.5f} ± 0.000" in found
    assert " mg/L (95%, 3 checks): Error\n" in found or "may be none: Error\n" in found
    assert "\nError of the display, mg/L " in found


def test_a_key_that_two_procedures_have_stands_under_each(plant: Plant) -> None:
    """The same key and label: only the procedure tells them apart, in every table."""
    enter_rows(plant, weekly(*ERRORS))
    enter_rows(plant, weekly(*ERRORS[:6]), procedure="grab_comparison")
    found = history(plant, TAG)
    for heading in HEADINGS[1:]:
        if heading not in (ADVICE, IN_MIND):
            told = shown(found, heading)
            assert told.count("Chlorine check against grabs") == 1, heading
            assert told.count("Comparison with a grab") == 1, heading
    short = text(brief(found), 100)
    assert short.index("Chlorine check against grabs, newest") < short.index("Comparison with a grab, newest")


def test_work_that_judges_a_duty_is_no_check_of_the_instrument(plant: Plant) -> None:
    enter_rows(plant, weekly("0.01", "0.02"))
    duty = record([check("back", "1", unit="d")])
    told = {"outcomes": [["back", "pass"]], "adjusted": "no"}
    enter_rows(plant, [("2026-01-20T08:00-06:00", duty, told)], procedure="monitor_outage")
    found = text(brief(history(plant, TAG)), 150)
    assert "Other work on it, newest: Outage of a monitor, L1-2026-0003 of 2026-01-20." in found
    assert found.count("last good check") == 1


def test_the_instrument_before_is_one_line(plant: Plant) -> None:
    enter_rows(plant, weekly("0.01"), serial="EL-0588")
    enter_rows(plant, [(f"2026-05{day[7:]}", *rest) for day, *rest in weekly("0.01", "0.02")])
    found = text(brief(history(plant, TAG)), 200)
    assert "EL-0611 has 2 records from 2026-05-05 to 2026-05-10, never adjusted; before it EL-0588" in found


def test_the_risk_of_deciding_wrongly_goes_by_what_was_found(plant: Plant) -> None:
    enter_rows(plant, weekly(*ERRORS))
    (figures,) = history(plant, TAG).instruments[0].figures
    found = risk_of(figures)
    assert found is not None
    assert (found.tur, found.history) == (pytest.approx(0.1 / 0.02), pytest.approx(11 / 12))
    assert found.accept == false_accept(11 / 12, found.tur)
    assert found.limit == 1.0  # TUR 5 needs no guard band
    assert found.guarded == found.accept
    assert "wrongly passed" in shown(history(plant, TAG), RISK)


def test_where_all_were_in_tolerance_the_history_is_what_even_odds_allow(plant: Plant) -> None:
    enter_rows(plant, weekly("0.01", "0.02", "0.03"))
    found = risk_of(history(plant, TAG).instruments[0].figures[0])
    assert found is not None
    assert found.history == pytest.approx(0.5 ** (1 / 3))


def test_without_an_uncertainty_no_risk_is_told(plant: Plant) -> None:
    rows = [
        (day, data.replace(b'"expanded": "0.02"', b'"expanded": ""'), told)
        for day, data, told in weekly("0.01")
    ]
    enter_rows(plant, rows)
    assert risk_of(history(plant, TAG).instruments[0].figures[0]) is None
    assert shown(history(plant, TAG), RISK) == "None."


def test_a_drift_is_told_beside_the_charts_it_disturbs(plant: Plant) -> None:
    enter_rows(plant, weekly(*[f"{0.004 * n + 0.001 * (n % 2):.3f}" for n in range(20)]))
    found = history(plant, TAG)
    assert "These keys drift between adjustments, and their charts signal the drift as well" in shown(
        found, IN_MIND
    )


def test_charts_are_ink_and_the_same_each_time(filled: Plant) -> None:
    (figures,) = history(filled, TAG).instruments[0].figures
    assert figures.charts is not None
    for first, again in (
        (run_chart(figures), run_chart(figures)),
        (control_charts(figures, figures.charts), control_charts(figures, figures.charts)),
    ):
        assert first == again
        colours = set(re.findall(rb"#([0-9a-f]{6})\b", first))
        assert colours
        assert all(one[:2] == one[2:4] == one[4:] for one in colours)


def test_a_key_that_holds_dollars_or_markup_is_drawn_as_text(plant: Plant) -> None:
    rows = [
        (day, data.replace(b'"Error"', b'"<b>$x^2$</b>"'), told)
        for day, data, told in weekly("0.01", "0.03", "0.02")
    ]
    enter_rows(plant, rows)
    (figures,) = history(plant, TAG).instruments[0].figures
    assert figures.series.label == "<b>$x^2$</b>"
    assert run_chart(figures).startswith(b"<?xml")


# ---------------------------------------------------------------- the command


Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(filled: Plant, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.setattr(common, "datetime", Clock)

    def command(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["wqverify", "history", *words, "--plant", str(filled.folder)])
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        return int(ended.value.code or 0), told.out, told.err

    return command


def test_the_command_shows_half_a_page(run: Run) -> None:
    """Eighteen weeks: the thirteenth was not evaluated, five passed since."""
    code, out, _err = run(TAG)
    assert code == 0
    lines = out.splitlines()
    assert len(lines) <= 20
    assert "EL-0611 has 18 records from 2026-01-05 to 2026-03-31, adjusted once." in lines
    said = {line[:26].strip(): line[28:] for line in lines if line[26:28] == "  "}
    assert said["last good check"] == "2026-03-31, L1-2026-0018, in tolerance as found"
    assert said["passes in a row"] == "5 as found; L1-2026-0013 of 2026-03-06 was not"
    assert said["interval"].startswith("5 d, ")
    assert re.search(r"\nError, mg/L +0\.06 +0\.02 +−0\.1 to 0\.1 +pass\n", out)
    assert "--all shows every key" in out


def test_the_command_shows_all_sections(run: Run) -> None:
    code, out, _err = run(TAG, "--all")
    assert code == 0
    assert [line for line in out.splitlines() if line in HEADINGS] == list(HEADINGS)


def test_the_history_as_json(run: Run) -> None:
    code, out, _err = run(TAG, "--json")
    told = json.loads(out)
    assert code == 0
    assert set(told) == {"tag", "measures", "unit", "synthetic", "signed", "instruments"}
    assert (told["signed"], told["synthetic"]) == (False, True)
    (series,) = told["instruments"][0]["series"]
    assert len(series["points"]) == 18
    assert series["points"][5]["outcome"] == "fail"
    assert series["points"][12]["usable"] is False
    assert set(series) == {
        "procedure", "key", "label", "unit", "points", "limits", "drift_per_day", "not_computed",
    }  # fmt: skip
    assert told["instruments"][0]["advice"]["chlorine_check"]["checks"] == 16


def test_the_history_as_csv(run: Run) -> None:
    code, out, _err = run(TAG, "--csv")
    rows = list(csv.DictReader(out.splitlines()))
    assert code == 0
    assert tuple(rows[0]) == COLUMNS
    assert [row["value"] for row in rows[:6]] == list(ERRORS[:6])
    assert (rows[5]["adjusted"], rows[5]["as_left"], rows[12]["usable"]) == ("yes", "0.0", "no")


def test_charts_are_written_into_a_folder(run: Run, tmp_path: Path) -> None:
    code, _out, _err = run(TAG, "--charts", str(tmp_path / "charts"))
    assert code == 0
    assert {path.name for path in (tmp_path / "charts").iterdir()} == {
        "AIT-2301_EL-0611_chlorine_check_as_found.error.svg",
        "AIT-2301_EL-0611_chlorine_check_as_found.error_control.svg",
    }


def test_an_unknown_key_or_tag_is_refused_in_a_sentence(run: Run) -> None:
    code, _out, err = run(TAG, "--key", "slope")
    assert (code, err) == (
        2,
        "There is no key 'slope' in the history of AIT-2301; there is as_found.error.\n",
    )
    code, _out, err = run("AIT-9")
    assert code == 2
    assert err.startswith("The book holds no record of AIT-9")


# ---------------------------------------------------------------- the shipped example and the notebook


def test_the_shipped_example_is_synthetic_and_holds_two_instruments() -> None:
    found = open_history()
    assert found.synthetic
    assert [one.serial for one in found.instruments] == ["EL-0588", "EL-0611"]
    assert all(len(one.records) > 30 for one in found.instruments)
    assert any(one.adjusted for one in found.instruments)
    for one in found.instruments:
        assert figures_of(one.figures[0].series).charts is not None


def test_the_notebook_is_stored_clean_and_computes_nothing() -> None:
    whole = insist_on_clean(shipped_notebook("history"), HEADINGS)
    assert re.findall(r'show\(history, "([^"]+)", key\)', whole) == list(HEADINGS)


@pytest.mark.slow
def test_the_notebook_shows_a_tag_of_a_plant(filled: Plant) -> None:
    parameters = {"folder": str(filled.folder), "tag": TAG}
    run_notebook.refuse_other_than_plain(parameters)
    executed = run_notebook._papermill(shipped_folder("notebooks") / "history.ipynb", parameters)
    outputs = [o.get("data", {}) for c in executed.cells if c.cell_type == "code" for o in c.outputs]
    assert len([o for o in outputs if "image/svg+xml" in o]) == 2
    told = json.dumps([o.get("text/html", "") for o in outputs], ensure_ascii=False)
    assert "Unsigned" in told
    assert "EL-0611" in told
