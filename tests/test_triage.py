"""A first look over trend exports: real ones with known faults, synthetic ones around each limit."""

from __future__ import annotations

import json
import shutil
import tracemalloc
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import short_records
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plant_example import plant_in, record_in

from wqverify.cli import cli
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.lists.triage import Triage, triage
from wqverify.lists.triage_chart import chart
from wqverify.lists.triage_findings import (
    BEYOND,
    CLAMPED,
    CONSTANT,
    COUNTED,
    DEAD,
    FLAT,
    GAP,
    NOISE,
    ORDER,
    RATES,
    SHORT_GAPS,
    SPIKES,
    TOUCHES,
    TWIN,
    Finding,
)
from wqverify.lists.triage_windows import ALL, Away, entered
from wqverify.lists.triage_words import WORDS, clock, command, sentence
from wqverify.plant.exports import options_in
from wqverify.plant.folder import Plant, open_plant
from wqverify.records.canonical import record_to_bytes
from wqverify.terms import Record
from wqverify.trends.options import ChannelOptions, ExportOptions, TriageOptions, zone_of
from wqverify.trends.whole import go_through, numbers_of

NEW_YORK = "America/New_York"
START = datetime(2026, 5, 1, 5, tzinfo=UTC)  # midnight in Chicago


def told(**channels: TriageOptions) -> dict[str, ChannelOptions]:
    return {name: ChannelOptions(triage=one) for name, one in channels.items()}


def of(found: Triage, kind: str, channel: str = "") -> list[Finding]:
    return [one for one in found.findings if one.kind == kind and channel in ("", one.channel)]


def ends(one: Finding, found: Triage) -> tuple[str, str]:
    return clock(one.first, found.zone), clock(one.last, found.zone)


# ---------------------------------------------------------------- real exports


@pytest.fixture(scope="module")
def station(real_data: Path) -> Triage:
    ranges = {
        name: TriageOptions(low=0, high=5) for name in ("B_CL2_VAL", "B_PLNT_CL2_VAL", "B_PLNT_TURB_VAL")
    }
    options = ExportOptions(time_zone=NEW_YORK, channels=told(**ranges))
    return triage(real_data / "utility_station_b_20min.csv", options)


def test_the_chlorine_that_is_0_for_28_and_a_half_days_with_its_ends(station: Triage) -> None:
    """2055 zeros and four rows of 0.01 or 0.02 between them; a day and a half of 0.01 before is another."""
    long, before = of(station, DEAD, "B_CL2_VAL")
    assert station.findings[0] is long
    assert ends(long, station) == ("2006-02-27 20:00", "2006-03-28 10:00")
    assert (long.rows, round(long.seconds / 86400, 2)) == (2059, 28.58)
    assert long.said == "stands at 0.00, the low end of its range"
    assert ends(before, station) == ("2006-02-26 07:00", "2006-02-27 19:20")
    assert before.said == "stands at 0.01"


def test_the_organic_carbon_that_is_flat_from_the_start(station: Triage) -> None:
    first = of(station, DEAD, "B_TOC_VAL")[0]
    assert (first.rows, first.said) == (1971, "stands at 10.31")
    assert ends(first, station) == ("2006-02-21 00:00", "2006-03-20 08:40")


def test_turbidity_and_chlorine_of_the_plant_that_are_0_for_27_rows(station: Triage) -> None:
    for channel in ("B_PLNT_TURB_VAL", "B_PLNT_CL2_VAL"):
        one = max(of(station, CLAMPED, channel), key=lambda found: found.rows)
        assert (one.rows, ends(one, station)) == (27, ("2006-04-01 09:20", "2006-04-01 18:00"))
        assert "the low end of its range" in one.said
        assert "B_PLNT_PH_VAL" in one.others  # which stands at 4 meanwhile


def test_the_hour_that_did_not_exist_in_spring_is_named_and_no_gap(station: Triage) -> None:
    named = [said for said in station.told if "did not exist" in said]
    assert len(named) == 1
    assert "2006-04-02 02:00:00 to 2006-04-02 02:40:00" in named[0]
    assert not of(station, GAP)
    assert not of(station, SHORT_GAPS)


def test_a_whole_station_that_stands_still_is_told_as_one(station: Triage) -> None:
    """From the evening of 2006-05-23 seven channels stand still: the archive or the link, no analyzer."""
    frozen = [one for one in of(station, FLAT) if ends(one, station)[0][:10] == "2006-05-23"]
    assert {one.channel for one in frozen} == {
        "B_CL2_VAL", "B_COND_VAL", "B_PH_VAL", "B_TEMP_VAL", "B_TOC_VAL", "B_TURB_VAL"
    }  # fmt: skip
    assert all(len(one.others) == 6 for one in frozen)


def test_what_could_not_be_tested_for_want_of_a_range(station: Triage) -> None:
    names = {one.channel for one in station.not_tested if one.test == CLAMPED}
    assert "B_TURB_VAL" in names
    assert "B_CL2_VAL" not in names


def test_a_level_and_its_current_in_decimal_commas(real_data: Path) -> None:
    """Level and current of one loop: the same step at the same minute in both."""
    options = ExportOptions(
        time_zone="Europe/Berlin", day_first=True, channels=told(**{"I [mA]": TriageOptions(low=4, high=20)})
    )
    found = triage(real_data / "level_logger_ma_decimal_comma.csv", options)
    assert [one.name for one in found.channels] == ["Höhe", "I", "Battery"]
    assert {one.kind for one in found.findings} == {SPIKES, RATES}
    for kind, at in ((SPIKES, "2014-01-09 14:38"), (RATES, "2014-01-10 21:19")):
        level, current = of(found, kind, "Höhe"), of(found, kind, "I")
        assert [ends(one, found)[0] for one in (*level, *current)] == [at, at]


def test_a_sonde_that_ends_before_its_export(real_data: Path) -> None:
    """523 rows are missing: 521 at the end, two one by one; two columns hold one value and are no sensor."""
    options = ExportOptions(time_zone="-05:00")
    found = triage(real_data / "estuary_sonde_15min_flags.csv", options)
    gap = of(found, GAP, "DO_mgl")[0]
    assert (gap.rows, ends(gap, found)) == (521, ("2021-08-26 13:30", "2021-08-31 23:45"))
    assert len(of(found, GAP)) == 8
    assert len(gap.others) == 7
    short = of(found, SHORT_GAPS, "DO_mgl")[0]
    assert [clock(at, found.zone) for at in short.at] == ["2021-07-12 08:30", "2021-08-13 09:45"]
    assert {one.channel for one in of(found, CONSTANT)} == {"Historical", "ProvisionalPlus"}
    assert [one.at[0] for one in of(found, SPIKES, "Turb")] == [_utc("2021-08-17 17:45", "-05:00")]


def _utc(text: str, zone: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=zone_of(zone)).timestamp())


def test_two_redox_sensors_in_one_tank(real_data: Path) -> None:
    """Told to lie within 40 mV they part nine times; not told, only where they part most."""
    path = real_data / "redundant_redox_10min.csv"

    def found(within: float | None) -> Triage:
        twin = told(redox_a_mV=TriageOptions(twin="redox_b_mV", twin_within=within))
        return triage(path, ExportOptions(time_zone="UTC", channels=twin))

    at_40 = of(found(40), TWIN)
    assert len(at_40) == 9
    assert at_40[0].said == "lies up to 51 apart from redox_b_mV, allowed 40"
    untold = found(None)
    assert [ends(one, untold) for one in of(untold, TWIN)] == [("2017-04-29 00:00", "2017-04-29 00:30")]
    assert any(
        one.test == TWIN and "is always there is not found" in one.because for one in untold.not_tested
    )
    gaps = of(untold, GAP, "redox_a_mV")
    assert (len(gaps), ends(gaps[0], untold)) == (12, ("2017-04-17 18:30", "2017-04-19 08:30"))


def test_rows_of_the_twins_counted_by_hand(real_data: Path) -> None:
    """By the plain file: every stretch found begins and ends beyond 40 mV, and its greatest is told."""
    path = real_data / "redundant_redox_10min.csv"
    twin = told(redox_a_mV=TriageOptions(twin="redox_b_mV", twin_within=40))
    found = of(triage(path, ExportOptions(time_zone="UTC", channels=twin)), TWIN)
    rows = [line.split(",") for line in path.read_text("utf-8").splitlines()[1:]]
    apart = {_utc(at, "UTC"): abs(float(a) - float(b)) for at, a, b in rows}
    for one in found:
        inside = [value for at, value in apart.items() if one.first <= at <= one.last]
        assert len(inside) == one.rows
        assert apart[one.first] > 40 < apart[one.last]
        assert f"up to {max(inside):.4g} apart" in one.said


# ---------------------------------------------------------------- synthetic signals around each limit


def lively(rows: int, seed: int = 1) -> np.ndarray:
    """A signal of three decimals that never repeats a value for long; synthetic."""
    random = np.random.default_rng(seed)
    return np.round(0.5 + 0.1 * np.sin(np.arange(rows) / 200) + random.normal(0, 0.01, rows), 3)


def export(
    path: Path, columns: Mapping[str, Sequence[float] | np.ndarray], every: int = 60, drop: Sequence[int] = ()
) -> Path:
    names = list(columns)
    lines = [f"time,{','.join(names)}"]
    for row, values in enumerate(zip(*columns.values(), strict=True)):
        if row not in drop:
            at = START + timedelta(seconds=every * row)
            texts = ("" if np.isnan(value) else f"{value:.3f}" for value in values)
            lines.append(f"{at:%Y-%m-%d %H:%M:%S},{','.join(texts)}")
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def look(path: Path, **channels: TriageOptions) -> Triage:
    return triage(path, ExportOptions(time_zone="UTC", channels=told(**channels)))


@pytest.mark.parametrize(
    ("minutes", "kinds"),
    [(59, set()), (60, {FLAT}), (61, {FLAT}), (179, {FLAT}), (180, {DEAD}), (181, {DEAD})],
)
def test_how_long_a_channel_stands_still(tmp_path: Path, minutes: int, kinds: set[str]) -> None:
    values = lively(2000)
    values[700 : 701 + minutes] = 0.777
    values[701 + minutes] = 0.9
    found = look(export(tmp_path / "e.csv", {"A": values}), A=TriageOptions(flat_h=1, dead_h=3))
    standing = [one for one in found.findings if one.kind in (FLAT, DEAD)]
    assert {one.kind for one in standing} == kinds
    assert [(one.first, one.rows) for one in standing] == [
        (int(START.timestamp()) + 700 * 60, minutes + 1) for _kind in kinds
    ]


def test_a_flat_line_shorter_than_the_rows_lie_apart_is_not_evaluated(tmp_path: Path) -> None:
    path = export(tmp_path / "e.csv", {"A": lively(300)}, every=1200)
    found = look(path, A=TriageOptions(flat_h=0.25, low=0, high=5))
    assert [(one.test, one.because) for one in found.not_tested] == [
        (FLAT, "its rows lie 20 min apart, and 15 min was told for a flat line")
    ]
    assert look(path, A=TriageOptions(flat_h=1 / 3, low=0, high=5)).not_tested == ()


@pytest.mark.parametrize(("rows", "one"), [(0, True), (1, True), (3, True), (4, False)])
def test_a_stand_that_flickers_is_one(tmp_path: Path, rows: int, one: bool) -> None:
    values = lively(2000)
    values[600:900] = 0.777
    values[700 : 700 + rows] = 0.75
    found = look(export(tmp_path / "e.csv", {"A": values}), A=TriageOptions(flat_h=1, dead_h=3))
    assert len([f for f in found.findings if f.kind in (FLAT, DEAD)]) == (1 if one else 2)


@pytest.mark.parametrize(
    ("height", "kind"), [(0.998, None), (0.999, None), (1.0, CLAMPED), (1.001, BEYOND), (1.2, BEYOND)]
)
def test_which_height_is_an_end_of_the_range(tmp_path: Path, height: float, kind: str | None) -> None:
    """At the end within half a step of the archive; beyond it is another thing."""
    values = lively(2000)
    values[600:700] = height + np.tile([0.0, 0.001 if height > 1 else 0.0], 50)
    values[650] = 0.6  # so that it is no flat line of its own
    ranges = TriageOptions(low=0, high=1, flat_h=30, dead_h=40, clamp_h=0.5)
    found = look(export(tmp_path / "e.csv", {"A": values}), A=ranges)
    kinds = {one.kind for one in found.findings} & {CLAMPED, BEYOND, TOUCHES}
    assert kinds - {CLAMPED if kind == BEYOND else ""} == ({kind} if kind else set())


@pytest.mark.parametrize(("minutes", "kind"), [(29, TOUCHES), (30, CLAMPED), (31, CLAMPED)])
def test_how_long_a_channel_stands_at_an_end(tmp_path: Path, minutes: int, kind: str) -> None:
    values = lively(2000)
    values[600 : 601 + minutes] = 0.0
    ranges = TriageOptions(low=0, high=1, flat_h=30, dead_h=40, clamp_h=0.5)
    found = look(export(tmp_path / "e.csv", {"A": values}), A=ranges)
    one = next(one for one in found.findings if one.kind in (CLAMPED, TOUCHES))
    assert (one.kind, one.rows) == (kind, minutes + 1)


@pytest.mark.parametrize(
    ("missing", "kind"), [(0, None), (1, SHORT_GAPS), (118, SHORT_GAPS), (119, SHORT_GAPS), (120, GAP)]
)
@pytest.mark.parametrize("empty", [False, True])
def test_how_long_a_gap_is(tmp_path: Path, missing: int, kind: str | None, empty: bool) -> None:
    """Rows that are not there and rows without a number alike; 120 min is not exceeded by 120 min."""
    values = lively(1500)
    rows = range(700, 700 + missing)
    if empty:
        values[700 : 700 + missing] = np.nan
    path = export(tmp_path / "e.csv", {"A": values}, drop=() if empty else rows)
    found = look(path, A=TriageOptions(gap_h=2))
    gaps = [one for one in found.findings if one.kind in (GAP, SHORT_GAPS)]
    assert [(one.kind, one.rows) for one in gaps] == ([(kind, missing)] if kind else [])


def test_a_channel_that_ends_before_its_export(tmp_path: Path) -> None:
    values = lively(1500)
    values[1200:] = np.nan
    found = look(export(tmp_path / "e.csv", {"A": values, "B": lively(1500, 2)}), A=TriageOptions(gap_h=2))
    (gap,) = of(found, GAP)
    assert (gap.channel, gap.rows) == ("A", 300)
    assert gap.said == "no number from then to the end of the export, where 300 were due"


@pytest.mark.parametrize(("height", "kind"), [(0.249, False), (0.25, False), (0.251, True)])
def test_how_high_a_spike_is(tmp_path: Path, height: float, kind: bool) -> None:
    values = np.tile([0.5, 0.501], 500)
    values[500] = values[499] = values[501] = 0.5
    values[500] += height
    found = look(export(tmp_path / "e.csv", {"A": values}), A=TriageOptions(spike=0.25, rate_per_h=1e6))
    assert bool(of(found, SPIKES)) is kind


@pytest.mark.parametrize(("step", "kind"), [(0.249, False), (0.25, False), (0.251, True)])
def test_how_fast_a_change_is(tmp_path: Path, step: float, kind: bool) -> None:
    """A quarter within the minute is 15 per hour."""
    values = np.where(np.arange(1000) < 500, 0.5, 0.5 + step) + np.tile([0.0, 0.0, 0.001, 0.0], 250)
    found = look(export(tmp_path / "e.csv", {"A": values}), A=TriageOptions(spike=9, rate_per_h=15))
    assert bool(of(found, RATES)) is kind


@pytest.mark.parametrize(("apart", "kind"), [(0.099, False), (0.1, False), (0.101, True)])
def test_how_far_twins_may_lie_apart(tmp_path: Path, apart: float, kind: bool) -> None:
    values = np.tile([0.5, 0.501, 0.502], 400)
    twin = values.copy()
    twin[600:640] += apart
    path = export(tmp_path / "e.csv", {"A": values, "B": twin})
    found = look(path, A=TriageOptions(twin="B", twin_within=0.1))
    assert [one.rows for one in of(found, TWIN)] == ([40] if kind else [])


def test_twins_whose_rows_lie_at_other_times(tmp_path: Path) -> None:
    """One each minute, the other half a minute later: the nearest within half an interval counts."""
    lines = ["time,tag,value"]
    values = lively(1000)
    for row, value in enumerate(values):
        at = START + timedelta(minutes=row)
        lines.append(f"{at:%Y-%m-%d %H:%M:%S},A,{value:.3f}")
        wrong = 0.3 if 500 <= row < 520 else 0.0
        lines.append(f"{at + timedelta(seconds=20):%Y-%m-%d %H:%M:%S},B,{value + wrong:.3f}")
    path = tmp_path / "e.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    found = look(path, A=TriageOptions(twin="B", twin_within=0.1))
    assert [one.rows for one in of(found, TWIN)] == [20]


def test_a_twin_that_is_not_there(tmp_path: Path) -> None:
    path = export(tmp_path / "e.csv", {"A": lively(100), "B": lively(100, 2)})
    with pytest.raises(ChooseAnother) as caught:
        look(path, A=TriageOptions(twin="C"))
    assert str(caught.value) == ("The twin of A, C, is not among the channels gone through; they are A, B.")


def test_noise_that_vanishes_without_a_flat_line(tmp_path: Path) -> None:
    values = lively(4000)
    values[2000:3000] = np.round(
        0.5 + np.arange(1000) / 5000, 3
    )  # a slow ramp: it moves, and is not restless
    found = look(export(tmp_path / "e.csv", {"A": values}), A=TriageOptions(noise_h=2))
    (one,) = of(found, NOISE)
    first, last = ((at - int(START.timestamp())) // 60 for at in (one.first, one.last))
    assert 1990 <= first <= 2015
    assert 2990 <= last <= 3015
    assert not of(found, FLAT)
    assert not of(found, DEAD)


def test_where_nothing_is_wrong_nothing_is_found(tmp_path: Path) -> None:
    found = look(export(tmp_path / "e.csv", {"A": lively(3000)}), A=TriageOptions(low=0, high=5))
    assert found.findings == ()
    assert found.not_tested == ()


def test_few_numbers_are_not_tested(tmp_path: Path) -> None:
    values = np.full(100, np.nan)
    values[:19] = 0.5
    found = look(export(tmp_path / "e.csv", {"A": values, "B": lively(100)}))
    assert ("A", "every test", "19 numbers are too few, at least 20 are needed") in [
        (one.channel, one.test, one.because) for one in found.not_tested
    ]


def test_the_gravest_come_first_and_every_kind_has_its_words(station: Triage) -> None:
    places = [
        (ORDER.index(one.kind), -(one.rows if one.kind in COUNTED else one.seconds))
        for one in station.findings
    ]
    assert places == sorted(places)
    assert set(WORDS) == set(ORDER)
    for words in WORDS.values():
        assert words.means.endswith(".")
        assert words.look.endswith(".")
        assert "analyzer is" not in words.means  # of a signal, never a verdict on an analyzer


whole = st.integers(0, 40)
odd_runs = st.lists(
    st.tuples(st.one_of(whole, st.sampled_from([None, 10**6])), st.integers(1, 40)), max_size=12
)


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(odd_runs, st.lists(st.integers(1, 9000), min_size=1, max_size=5), st.booleans())
def test_whatever_a_channel_holds_it_is_gone_through(
    tmp_path: Path, runs: list[tuple[int | None, int]], steps: list[int], ranged: bool
) -> None:
    """Every finding lies within the channel, is of a kind with words, and is drawn."""
    values = [value for value, count in runs for _ in range(count)]
    at, lines = START, ["time,A,B"]
    for row, value in enumerate(values):
        text = "" if value is None else f"{value / 10:.1f}"
        lines.append(f"{at:%Y-%m-%d %H:%M:%S},{text},{row % 7}")
        at += timedelta(seconds=steps[row % len(steps)])
    if len(lines) < 3:
        return
    path = tmp_path / "e.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    limits = TriageOptions(low=0, high=4) if ranged else TriageOptions()
    options = ExportOptions(
        time_zone="UTC",
        channels={"A": ChannelOptions(triage=limits), "B": ChannelOptions(triage=twin_of_a())},
    )
    found = triage(path, options)
    for one in found.findings:
        assert START.timestamp() <= one.first <= one.last <= at.timestamp()
        assert one.rows >= 1
        assert sentence(one, found.zone)
        assert all(one.first <= second <= one.last for second in one.at)
    assert {one.name for one in found.channels} == {"A", "B"}
    for one in found.channels:
        if one.numbers - one.in_windows < 20:
            assert any(n.channel == one.name and n.test == "every test" for n in found.not_tested)


def twin_of_a() -> TriageOptions:
    return TriageOptions(twin="A", twin_within=0.5)


# ---------------------------------------------------------------- runs, and rows beside what is left out


@pytest.mark.parametrize(
    ("rows", "runs", "said"),
    [
        ([500], 1, "has 1 row "),
        ([500, 501, 502], 1, "has 3 rows "),
        ([500, 502], 2, "has 2 rows "),  # a good row lies between
        ([500, 501, 900], 2, "has 3 rows in 2 runs "),
    ],
)
def test_rows_that_lie_scattered_are_told_as_so_many_and_no_long_event(
    tmp_path: Path, rows: list[int], runs: int, said: str
) -> None:
    values = lively(2000)
    values[rows] = np.array([2.0, 2.1, 2.2])[: len(rows)]
    limits = TriageOptions(low=0, high=1, flat_h=30, dead_h=40, spike=9, rate_per_h=1e6)
    found = look(export(tmp_path / "e.csv", {"A": values}), A=limits)
    (one,) = of(found, BEYOND)
    assert (one.rows, one.runs) == (len(rows), runs)
    told_ = sentence(one, UTC, found.stamps["A"])
    first, last = ends(one, found)
    begun = first if len(rows) == 1 else f"{first} to {last[11:]}, 2 min"
    assert told_.startswith(f"between {first} and {last[11:]}: A " if runs > 1 else f"{begun}: A ")
    assert said in told_
    longest = (
        f"; the longest run from {first} to {clock(one.first + 60, UTC)[11:]} [lines 502 to 503], 2 rows"
    )
    assert (longest in told_) is (rows == [500, 501, 900])


def test_short_gaps_of_two_channels_are_told_together_only_where_they_are_the_same(tmp_path: Path) -> None:
    columns = {"A": lively(2000), "B": lively(2000, 2), "C": lively(2000, 3)}
    for name, missing in (("A", (300, 900)), ("B", (300, 900)), ("C", (350, 950))):
        columns[name][list(missing)] = np.nan
    found = look(export(tmp_path / "e.csv", columns))
    assert {one.channel: one.others for one in of(found, SHORT_GAPS)} == {"A": ("B",), "B": ("A",), "C": ()}
    assert sentence(of(found, SHORT_GAPS, "C")[0], UTC).startswith(
        "between 2026-05-01 10:49 and 20:51: C has 2"
    )


def flagged_export(path: Path, flag: str, *, off: range, high: Mapping[int, float], many: bool) -> Path:
    """Minutes with a column of flags, as a wide export or with a row for each value; synthetic."""
    values = lively(1000)
    values[list(off)] = 3.0
    for row, value in high.items():
        values[row] = value
    lines = ["time,tag,value,quality"] if many else ["time,A,Quality"]
    for row, value in enumerate(values):
        at = f"{START + timedelta(minutes=row):%Y-%m-%dT%H:%M:%SZ}"
        lines.append(f"{at},{'A,' if many else ''}{value:.3f},{flag if row in off else 'good'}")
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


@pytest.mark.parametrize("many", [False, True])
@pytest.mark.parametrize(
    ("flag", "told_off", "counts"),
    [("BACKWASH", "", False), ("Off-Line", "", False), ("bad", "", True), ("WASH", "", True),
     ("WASH", "RINSE, wash", False), ("BACKWASH", "WASH", True)],
)  # fmt: skip
def test_what_the_export_flags_as_no_water_is_no_fault(
    tmp_path: Path, flag: str, told_off: str, counts: bool, many: bool
) -> None:
    path = flagged_export(tmp_path / "e.csv", flag, off=range(400, 430), high={}, many=many)
    options = ExportOptions(channels=told(A=TriageOptions(low=0, high=1, rate_per_h=60, off_when=told_off)))
    for limit in (10**6, 1000) if many else (10**6,):
        found = triage(path, options, limit_bytes=limit)
        assert bool(of(found, BEYOND)) is counts
        assert [(one.flag, one.rows, one.runs) for one in found.flagged] == (
            [] if counts else [(flag, 30, 1)]
        )
        assert found.channels[0].in_windows == (0 if counts else 30)
        assert not of(found, SHORT_GAPS)


@pytest.mark.parametrize(("after", "counts"), [(1, False), (29, False), (30, False), (31, True)])
@pytest.mark.parametrize("side", [-1, 1])
def test_single_rows_within_half_an_hour_of_a_window_or_flag_do_not_count(
    tmp_path: Path, after: int, counts: bool, side: int
) -> None:
    """The flagged rows are 400 to 429; a window entered over the same minutes does the same."""
    row = 429 + after if side > 0 else 400 - after
    path = flagged_export(tmp_path / "e.csv", "BACKWASH", off=range(400, 430), high={row: 2.0}, many=False)
    limits = TriageOptions(low=0, high=1, spike=0.5, rate_per_h=60)
    plain = flagged_export(tmp_path / "p.csv", "good", off=range(400, 430), high={row: 2.0}, many=False)
    window = Away("A", "entered", START + timedelta(minutes=400), START + timedelta(minutes=429))
    options = ExportOptions(channels=told(A=limits))
    for found in (triage(path, options), triage(plain, options, windows=[window])):
        kinds = {one.kind for one in found.findings}
        assert kinds == ({SPIKES, RATES, BEYOND, TOUCHES} if counts else set())
        near = {one.test: one.because for one in found.not_tested if "of a window or flag" in one.because}
        assert set(near) - {RATES} == (set() if counts else {SPIKES, BEYOND})
        assert counts or near[SPIKES] == (
            "1 row within 30 min of a window or flag, or next to it, would count otherwise"
        )


def test_a_row_next_to_a_window_does_not_count_however_long_the_rows_lie_apart(tmp_path: Path) -> None:
    """Hours: the row after a window of 20 min between two rows is compared with one from before it."""
    values = lively(400)
    values[200] = 0.9
    path = export(tmp_path / "e.csv", {"A": values}, every=3600)
    limits = told(A=TriageOptions(spike=0.2, rate_per_h=0.2))
    at = START + timedelta(hours=199, minutes=10)
    window = Away("A", "entered", at, at + timedelta(minutes=20))
    options = ExportOptions(time_zone="UTC", channels=limits)
    assert {one.kind for one in triage(path, options).findings} >= {SPIKES}
    assert not of(triage(path, options, windows=[window]), SPIKES)


# ---------------------------------------------------------------- clocks


def test_a_finding_is_found_again_in_the_file_by_its_line_and_the_clock_of_the_file(tmp_path: Path) -> None:
    """The file is in UTC, its times are shown in Chicago: 05:00Z is midnight there."""
    values = lively(1500)
    values[600:900] = 0.777
    lines = ["Synthetic export", "time,A"]
    stamps = [f"{START + timedelta(minutes=row):%Y-%m-%dT%H:%M:%SZ}" for row in range(1500)]
    lines += [f"{at},{value:.3f}" for at, value in zip(stamps, values, strict=True)]
    path = tmp_path / "e.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    limits = told(A=TriageOptions(flat_h=1, dead_h=9))
    found = triage(path, ExportOptions(time_zone="America/Chicago", channels=limits))
    (flat,) = of(found, FLAT)
    assert sentence(flat, zone_of("America/Chicago"), found.stamps["A"]) == (
        "2026-05-01 10:00 to 14:59, 5.0 h: A stands at 0.777 [in the file 2026-05-01T15:00:00Z to "
        "2026-05-01T19:59:00Z, lines 603 to 902]"
    )
    assert lines[602].startswith("2026-05-01T15:00:00Z,0.777")
    assert lines[901].startswith("2026-05-01T19:59:00Z,0.777")
    assert sentence(flat, UTC, found.stamps["A"]).endswith("A stands at 0.777 [lines 603 to 902]")


def test_the_stamp_of_a_file_of_local_times_stands_as_it_is_written_there(tmp_path: Path) -> None:
    """New York writes its own clock, month first; the plant shows Chicago: an hour less."""
    values = lively(600)
    values[300] = 5.0
    lines = ["Date,Time,A"]
    for row, value in enumerate(values):
        lines.append(f"{datetime(2026, 5, 20) + timedelta(minutes=row):%m/%d/%Y,%I:%M %p},{value:.3f}")
    path = tmp_path / "e.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    found = triage(path, ExportOptions(time_zone=NEW_YORK, channels=told(A=TriageOptions(spike=1))))
    (spike,) = of(found, SPIKES)
    told_ = sentence(spike, zone_of("America/Chicago"), found.stamps["A"])
    assert told_.startswith("2026-05-20 04:00: A has 1 row more than 1 from both neighbours, upward")
    assert told_.endswith("[in the file 05/20/2026 05:00 AM, line 302]")
    assert lines[301].startswith("05/20/2026,05:00 AM,5.000")


def test_a_gap_of_four_hours_across_the_change_of_the_clocks(tmp_path: Path) -> None:
    """From 00:00 to 05:00 by the clock are four hours on 2026-03-08, and six on 2026-11-01."""
    for day, hours in (("2026-03-08", 4), ("2026-11-01", 6)):
        lines = ["time,A"]
        values = iter(lively(2000))
        at = datetime.fromisoformat(f"{day} 00:00").replace(tzinfo=zone_of("America/Chicago"))
        for start, end in ((at - timedelta(hours=9), at), (at.replace(hour=5), at.replace(hour=14))):
            moment = start
            while moment <= end:
                lines.append(f"{moment:%Y-%m-%d %H:%M:%S},{next(values):.3f}")
                moment += timedelta(minutes=1)
        path = tmp_path / f"{day}.csv"
        path.write_text("\n".join(lines) + "\n", "utf-8")
        options = ExportOptions(time_zone="America/Chicago", channels=told(A=TriageOptions(gap_h=3.9)))
        (gap,) = of(triage(path, options), GAP)
        assert gap.seconds == hours * 3600
        assert clock(gap.first, zone_of("America/Chicago")) == f"{day} 00:00"


def test_a_time_that_happened_twice_is_shown_with_its_offset() -> None:
    zone = zone_of("America/Chicago")
    twice = datetime(2026, 11, 1, 1, 30, tzinfo=zone)
    assert clock(int(twice.timestamp()), zone) == "2026-11-01 01:30-05:00"
    assert clock(int(twice.replace(fold=1).timestamp()), zone) == "2026-11-01 01:30-06:00"
    assert clock(int(datetime(2026, 11, 1, 2, 30, tzinfo=zone).timestamp()), zone) == "2026-11-01 02:30"


# ---------------------------------------------------------------- windows, register, plant

TAG = "AIT-2202"


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    """The plant with one record of its turbidimeter in the book, its output released at the end."""
    made = plant_in(tmp_path_factory.mktemp("plant") / "ellodale")
    record = visited(made, released=True)
    data = record_to_bytes(record)
    short_records.enter(made, (record.performed, data), tag=TAG, procedure=record.procedure)
    return made


def visited(plant: Plant, number: str = "L1-2026-0001", *, released: bool) -> Record:
    """The record of the turbidimeter; as the demo tells it, its output stays held."""
    name = next(path.stem for path in sorted((plant.folder / "field_sheets").glob(f"*{TAG}*.toml")))
    record = record_in(plant, name, number)
    assert "output_released.at" not in record.given.times
    more = {"output_released.at": max(record.given.times.values())} if released else {}
    return replace(record, given=replace(record.given, times={**record.given.times, **more}))


def minutes_around(plant: Plant, path: Path, flat: slice) -> tuple[Path, datetime, datetime]:
    """A day of minutes around the visit that is in the book, flat in some of them."""
    name = next(path.stem for path in sorted((plant.folder / "field_sheets").glob(f"*{TAG}*.toml")))
    times = [datetime.fromisoformat(at) for at in record_in(plant, name).given.times.values()]
    began, ended = min(times), max(times)
    values = lively(1440)
    values[flat] = 0.512
    lines = ["time,AIT2202.PV"]
    for row, value in enumerate(values):
        at = (began + timedelta(minutes=row - 720)).astimezone(UTC)
        lines.append(f"{at:%Y-%m-%dT%H:%M:%SZ},{value:.3f}")
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path, began, ended


def test_what_lies_in_the_visit_of_a_record_is_no_fault(tmp_path: Path, plant: Plant) -> None:
    """The register names channel and range; the record in the book the window."""
    visit = minutes_around(plant, tmp_path / "e.csv", slice(0, 0))
    long = int((visit[2] - visit[1]).total_seconds() // 60)
    path, began, ended = minutes_around(plant, tmp_path / "e.csv", slice(720, 720 + long))
    options = ExportOptions(channels=told(**{"AIT2202.PV": TriageOptions(flat_h=long / 60 - 0.1, dead_h=9)}))
    alone, with_plant = triage(path, options), triage(path, options, plant)
    assert [one.kind for one in alone.findings if one.kind == FLAT] == [FLAT]
    assert [one.kind for one in with_plant.findings] == []
    window, held = with_plant.windows
    assert (window.tag, window.what, window.number) == (TAG, "visit", "L1-2026-0001")
    assert (window.start, window.end) == (began, ended)
    assert (held.what, held.end) == ("output held", ended)
    (channel,) = with_plant.channels
    assert (channel.tag, channel.unit, channel.in_windows) == (TAG, "NTU", long + 1)
    limits = {one.name: (one.value, one.source) for one in channel.settings}
    assert limits["low"] == (0.0, "register")
    assert limits["high"] == (5.0, "register")  # the loop is narrower than the analyzer


def test_a_dead_trend_of_an_analyzer_begins_an_outage(tmp_path: Path, plant: Plant) -> None:
    path, _began, _ended = minutes_around(plant, tmp_path / "e.csv", slice(900, 1400))
    options = ExportOptions(channels=told(**{"AIT2202.PV": TriageOptions(flat_h=1, dead_h=3)}))
    (dead,) = of(triage(path, options, plant), DEAD)
    assert command(dead) == ("wqverify", "step", "monitor_outage", TAG)
    (unknown,) = of(triage(path, options), DEAD)
    assert command(unknown) == ()
    with (plant.folder / "trends" / "exports.toml").open("a", encoding="utf-8") as stream:
        stream.write('[[export]]\nfiles = "e.csv"\n[export.channel."AIT2202.PV".triage]\ndead_h = "8"\n')
    run = CliRunner().invoke(cli, ["triage", str(path), "--plant", str(plant.folder)], catch_exceptions=False)
    assert run.exit_code == 0
    assert f"      wqverify step monitor_outage {TAG}\n" in run.output
    assert "Windows of the book or entered, not counted as faults: 2" in run.output


def outage_in(plant: Plant, folder: Path, since: str, until: str) -> Plant:
    """A copy of the plant whose book holds an outage of the turbidimeter, with or without its end."""
    made = open_plant(Path(shutil.copytree(plant.folder, folder)))
    record = replace(visited(made, "L1-2026-0002", released=True), procedure="monitor_outage")
    facts = {"outage.from": since} | ({"outage.until": until} if until else {})
    short_records.enter(
        made, (since, record_to_bytes(record)), tag=TAG, procedure=record.procedure, more={"facts": facts}
    )
    return made


@pytest.mark.parametrize(
    ("since", "until", "kinds"),
    [
        (900, 1401, set()),  # from the first row of the stand to the first row after it
        (900, None, set()),  # it is not over
        (-50_000, None, set()),  # nor where it began weeks before the export
        (900, 1000, {DEAD}),  # it came back, and the trend went on standing still
        (1405, None, {DEAD}),  # the outage is of a later time
    ],
)
def test_an_outage_that_the_book_holds_is_not_opened_again(
    tmp_path: Path, plant: Plant, since: int, until: int | None, kinds: set[str]
) -> None:
    path, began, _ended = minutes_around(plant, tmp_path / "e.csv", slice(900, 1400))
    ends = [(began + timedelta(minutes=row - 720)).isoformat() for row in (since, until or 0)]
    with_outage = outage_in(plant, tmp_path / "plant", ends[0], ends[1] if until else "")
    options = ExportOptions(channels=told(**{"AIT2202.PV": TriageOptions(flat_h=1, dead_h=3, gap_h=24)}))
    found = triage(path, options, with_outage)
    assert {one.kind for one in found.findings} == kinds
    windows = [one for one in found.windows if one.what == "monitor out of service"]
    assert [one.number for one in windows] == ["L1-2026-0002"]
    last = datetime.fromtimestamp(found.channels[0].last, UTC)
    assert windows[0].end == (datetime.fromisoformat(ends[1]) if until else last)


@pytest.mark.parametrize("later", [None, 800, 1390, 1450])
def test_a_hold_lasts_until_a_record_says_that_it_was_released(
    tmp_path: Path, plant: Plant, later: int | None
) -> None:
    """Minutes of the day: the stand is from 900 to 1400; the visit that left it held begins at 720."""
    path, began, _ended = minutes_around(plant, tmp_path / "e.csv", slice(900, 1400))
    made = open_plant(Path(shutil.copytree(plant.folder, tmp_path / "plant")))
    Path(made.book).unlink()
    first = visited(made, released=False)
    visits = [(first.performed, record_to_bytes(first))]
    if later is not None:
        release = (began + timedelta(minutes=later - 720)).isoformat()
        times = {"started": release, "output_held.at": release, "output_released.at": release}
        again = replace(visited(made, "L1-2026-0002", released=True), performed=release)
        visits.append((release, record_to_bytes(replace(again, given=replace(again.given, times=times)))))
    short_records.enter(made, *visits, tag=TAG, procedure=first.procedure)
    options = ExportOptions(channels=told(**{"AIT2202.PV": TriageOptions(flat_h=1, dead_h=3, gap_h=24)}))
    found = triage(path, options, made)
    assert {one.kind for one in found.findings} == ({DEAD} if later == 800 else set())
    held = next(one for one in found.windows if one.what.startswith("output held, "))
    within = later is not None and later < 1440
    assert held.what.endswith("released by a later record" if within else "not released in any record")
    assert held.end.timestamp() == (
        datetime.fromisoformat(release).timestamp() if within else found.channels[0].last
    )


@pytest.mark.parametrize("tag", [ALL, "A"])
def test_a_window_entered_by_hand(tmp_path: Path, tag: str) -> None:
    values = lively(1440)
    values[300:500] = 0.777
    path = export(tmp_path / "e.csv", {"A": values})
    window = entered(tag, "2026-05-01 09:59", "2026-05-01 13:21", UTC)
    options = ExportOptions(time_zone="UTC", channels=told(A=TriageOptions(flat_h=1, dead_h=9)))
    found = triage(path, options, windows=[window])
    assert not of(found, FLAT)
    assert not of(found, SHORT_GAPS)  # what is taken out is no gap
    assert found.windows == (window,)
    assert found.channels[0].in_windows == 203
    assert len(of(triage(path, options), FLAT)) == 1
    other = Away("B", "entered", window.start, window.end)
    assert len(of(triage(path, options, windows=[other]), FLAT)) == 1


def test_a_window_that_ends_before_it_begins() -> None:
    with pytest.raises(
        ChooseAnother, match="The window from 2026-05-01 10:00 to 2026-05-01 09:00 ends before"
    ):
        entered("A", "2026-05-01 10:00", "2026-05-01 09:00", UTC)


def test_settings_of_a_channel_in_the_exports_of_a_plant(tmp_path: Path) -> None:
    file = tmp_path / "exports.toml"
    file.write_text(
        '[[export]]\nfiles = "*"\n[export.channel."X".triage]\nlow = "0"\nhigh = "5"\ntwin = "Y"\n'
        'twin_within = "0.1"\nflat_h = "6"\n',
        "utf-8",
    )
    assert options_in(file, "e.csv").channels["X"].triage == TriageOptions(
        low=0, high=5, twin="Y", twin_within=0.1, flat_h=6
    )


def test_the_settings_shown_in_the_readme_are_read(tmp_path: Path) -> None:
    readme = (Path(__file__).parent.parent / "README.md").read_text("utf-8")
    shown = readme[readme.index('[export.channel."AIT2201.PV".triage]') :].split("```")[0]
    file = tmp_path / "exports.toml"
    file.write_text(f'[[export]]\nfiles = "*"\n{shown}', "utf-8")
    found = options_in(file, "e.csv").channels["AIT2201.PV"].triage
    assert found == TriageOptions(low=0, high=5, flat_h=4, dead_h=12, twin="AIT2202.PV", twin_within=0.05)
    also = shown.split("# also: ")[1].strip().split(", ")
    assert set(also) == {one.name for one in fields(TriageOptions) if getattr(found, one.name) in (None, "")}


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        ('low = "5"\nhigh = "5"', "low 5 is not below high 5."),
        ('flat_h = "12"\ndead_h = "4"', "flat_h 12 is not below dead_h 4."),
        ('twin_within = "0.1"', "twin_within stands without twin; name the channel of the same water too."),
        ('gap_h = "0"', "gap_h: 0 is not more than 0."),
        ('noise_share = "1"', "noise_share: 1 is no share of the usual restlessness"),
        ("spike = 0.2", "spike"),
        ('flat = "2"', "flat is not known here; did you mean flat_h?"),
    ],
)
def test_mistakes_in_the_settings_are_told_with_their_line(tmp_path: Path, lines: str, sentence: str) -> None:
    file = tmp_path / "exports.toml"
    file.write_text(f'[[export]]\nfiles = "*"\n[export.channel."X".triage]\n{lines}\n', "utf-8")
    with pytest.raises(CorrectTheEntry) as caught:
        options_in(file, "e.csv")
    assert "exports.toml" in str(caught.value)
    assert sentence in str(caught.value)


# ---------------------------------------------------------------- large exports


def long_export(path: Path) -> Path:
    """Three tags for two days, a row for each value, with a stand, spikes and a gap; synthetic."""
    lines = ["time,tag,value,quality"]
    tags = {tag: lively(2880, seed) for seed, tag in enumerate(("A", "B", "C"))}
    tags["A"][500:900] = 0.444
    tags["B"][1000] = 3.0
    for row in range(2880):
        at = START + timedelta(minutes=row)
        for tag, values in tags.items():
            if tag == "C" and 1500 <= row < 1900:
                continue
            text = "-9999" if (tag, row) == ("B", 7) else f"{values[row]:.3f}"
            lines.append(f"{at:%Y-%m-%d %H:%M:%S},{tag},{text},good")
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def test_a_large_export_gives_the_same_findings_tag_by_tag(tmp_path: Path) -> None:
    from wqverify.trends.kept import parquet_copy
    from wqverify.trends.large import long_csv

    path = long_export(tmp_path / "e.csv")
    options = ExportOptions(time_zone="America/Chicago", missing=("-9999",))
    plain = triage(path, options)
    assert {one.kind for one in plain.findings} >= {FLAT, SPIKES, GAP}
    by_tag = triage(path, options, limit_bytes=1000)
    assert by_tag.findings == plain.findings
    assert by_tag.digest == plain.digest
    assert "there is no copy of it; wqverify trend --parquet e.csv makes one" in " ".join(by_tag.told)
    parquet_copy(long_csv(path, options))
    from_copy = triage(path, options, limit_bytes=1000)
    assert from_copy.findings == plain.findings
    assert "read from its copy e.csv.parquet" in from_copy.told
    one = triage(path, options, channels=["B"], limit_bytes=1000)
    assert {found.channel for found in one.findings} == {"B"}
    with pytest.raises(ChooseAnother, match=r"e\.csv has no channel D; it has A, B, C\."):
        triage(path, options, channels=["D"], limit_bytes=1000)


def test_memory_of_a_large_export_is_that_of_one_channel(tmp_path: Path) -> None:
    """Six channels of a file take no more than about what one takes."""
    path = tmp_path / "e.csv"
    lines = ["time,tag,value"]
    values = lively(3000)
    for row in range(3000):
        at = f"{START + timedelta(minutes=row):%Y-%m-%d %H:%M:%S}"
        lines += [f"{at},T{tag},{values[row]:.3f}" for tag in range(6)]
    path.write_text("\n".join(lines) + "\n", "utf-8")
    options = ExportOptions(time_zone="UTC")

    def most(names: Sequence[str]) -> int:
        triage(path, options, channels=names, limit_bytes=1000)  # imports and caches
        tracemalloc.start()
        triage(path, options, channels=names, limit_bytes=1000)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    assert most([]) < 1.5 * most(["T0"])


def test_numbers_of_a_tag_are_those_of_the_plain_reading_also_where_an_hour_happens_twice(
    tmp_path: Path,
) -> None:
    from wqverify.trends import read_export
    from wqverify.trends.large import long_csv

    path = tmp_path / "e.csv"
    clocks = ["00:30", "01:00", "01:30", "01:00", "01:30", "02:00", "02:30"]
    rows = [f"2026-11-01 {at}:00,A,{n if n != 5 else 'BDL'}" for n, at in enumerate(clocks)]
    path.write_text("\n".join(["time,tag,value", *rows, rows[-1]]) + "\n", "utf-8")
    options = ExportOptions(time_zone=NEW_YORK)
    large = numbers_of(long_csv(path, options), "A")
    plain = read_export(path, options).channel_of("A")
    assert large.times.tolist() == plain.times.tolist()
    assert np.array_equal(large.values, plain.values, equal_nan=True)
    assert "happened twice" in large.told[0]


def test_two_values_at_one_time_in_a_large_export(tmp_path: Path) -> None:
    from wqverify.trends.large import long_csv

    path = tmp_path / "e.csv"
    path.write_text("time,tag,value\n2026-05-01 00:00:00,A,1\n2026-05-01 00:00:00,A,2\n", "utf-8")
    with pytest.raises(CorrectTheEntry) as caught:
        numbers_of(long_csv(path, ExportOptions(time_zone="UTC")), "A")
    assert str(caught.value) == (
        'e.csv: A has 1 and 2 at the same time, 2026-05-01 00:00:00 UTC; write duplicates = "first" or '
        '"last" for this export.'
    )
    for which, value in (("first", 1), ("last", 2)):
        options = ExportOptions(time_zone="UTC", duplicates=which)  # type: ignore[arg-type]
        assert numbers_of(long_csv(path, options), "A").values.tolist() == [value]


def test_results_of_a_laboratory_are_no_signal(tmp_path: Path) -> None:
    with pytest.raises(ChooseAnother, match="whose results are no signal"):
        go_through(tmp_path / "e.csv", ExportOptions(kind="laboratory"))


def test_results_of_a_laboratory_are_known_by_their_columns(real_data: Path) -> None:
    """Until they were, every other visit of a month was a gap in the signal."""
    path = real_data / "volunteer_results_with_qc.xlsx"
    with pytest.raises(ChooseAnother, match=r"with_qc\.xlsx is an export of a laboratory"):
        triage(path, ExportOptions(time_zone=NEW_YORK))


# ---------------------------------------------------------------- the command and the picture


def run(*arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, ["triage", *arguments], catch_exceptions=False)
    return done.exit_code, done.output


def test_the_command_on_a_file_without_a_plant(
    real_data: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    path = str(real_data / "utility_station_b_20min.csv")
    code, output = run(path, "--time-zone", NEW_YORK, "--range", "B_CL2_VAL", "0", "5")
    assert code == 0
    lines = output.splitlines()
    assert lines[0] == (
        "utility_station_b_20min.csv: 12 channels, 2006-02-21 00:00 to 2006-05-31 23:40 America/New_York"
    )
    assert lines[3] == "  In brackets: lines of the file, and its own times where its clock is another one."
    assert lines[5] == (
        "  2006-02-27 20:00 to 2006-03-28 10:00, 28.6 d: B_CL2_VAL stands at 0.00, the low end of its"
    )
    assert lines[6] == "      range [lines 494 to 2552]"
    rows = Path(path).read_text("utf-8").splitlines()
    assert [rows[line - 1][:16] for line in (494, 2552)] == ["02/27/2006 20:00", "03/28/2006 10:00"]
    assert "No plant folder: windows of records and ranges of the register are not known." in output
    assert max(map(len, lines)) <= 96
    flat = next(line for line in lines if line.startswith("Flat: "))
    assert f"  and {int(flat[6:]) - 12} lesser ones; --json lists all" in lines


def test_the_command_as_one_document(
    real_data: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    code, output = run(
        str(real_data / "redundant_redox_10min.csv"), "--time-zone", "UTC", "--twin", "redox_a_mV",
        "redox_b_mV", "--window", "*", "2017-04-17 18:00", "2017-04-19 09:00", "--json",
    )  # fmt: skip
    assert code == 0
    (document,) = json.loads(output)
    kinds = [one["kind"] for one in document["findings"]]
    assert kinds.count(TWIN) == 1
    first = document["findings"][0]
    assert (first["kind"], first["from"], first["to"]) == (
        GAP, "2017-04-17T18:30:00+00:00", "2017-04-19T08:30:00+00:00",
    )  # fmt: skip
    assert document["windows"][0]["what"] == "entered"
    assert {one["test"] for one in document["not_evaluated"]} == {CLAMPED, TWIN}
    limits = {one["name"]: one for one in document["channels"][0]["limits"]}
    assert limits["flat_h"]["source"] == "common practice, no source"


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--range", "A", "5", "0"], "--range A 5 0: two numbers were expected, the lower end first."),
        (["--range", "A", "x", "1"], "--range A x 1: two numbers were expected, the lower end first."),
        (["--chart", "e.pdf"], "A picture is written as svg or png, not as pdf."),
        (["--window", "A", "2026-05-01 25:00", "2026-05-01 09:00"], "is not a time of day"),
        (["--channel", "B"], "has no channel B"),
        (
            ["--window", "B", "2026-05-01 05:00", "2026-05-01 05:10"],
            "2026-05-01 05:10: no channel is called B; there is A, and * is every one.",
        ),
        (["--range", "B", "0", "1"], "has no column 'B'"),
    ],
)
def test_what_the_command_refuses(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], sentence: str
) -> None:
    monkeypatch.chdir(tmp_path)
    path = export(tmp_path / "e.csv", {"A": lively(100)})
    with pytest.raises((ChooseAnother, CorrectTheEntry), match=r"\S") as caught:
        CliRunner().invoke(
            cli, ["triage", str(path), "--time-zone", "UTC", *arguments], catch_exceptions=False
        )
    assert sentence in str(caught.value)


def test_where_nothing_could_be_tested_it_is_not_said_that_nothing_was_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for rows, said in ((1, False), (19, False), (20, True)):
        path = export(tmp_path / f"{rows}.csv", {"A": lively(rows)})
        _code, output = run(str(path), "--time-zone", "UTC")
        assert ("Nothing was found." in output) is said
        assert ("Nothing could be tested, see why below." in output) is not said


def test_a_window_without_a_row_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    path = export(tmp_path / "e.csv", {"A": lively(100)})
    window = ["--window", "A", "2026-05-02 05:00", "2026-05-02 05:10"]
    _code, output = run(str(path), "--time-zone", "UTC", *window)
    assert "  window entered, A: no row lies in it, 2026-05-02 05:00 to 2026-05-02 05:10" in output


def test_two_columns_of_one_tag_and_one_of_none_are_told_and_a_tag_finds_its_column(
    tmp_path: Path, plant: Plant
) -> None:
    path = tmp_path / "e.csv"
    export(path, {"AIT2202.PV": lively(60), TAG: lively(60, 2), "FIT-9": lively(60, 3)})
    options = ExportOptions(time_zone="UTC")
    found = triage(path, options, plant)
    assert f"AIT2202.PV and {TAG} were both taken as channels of {TAG}" in found.told
    nobody = [one.channel for one in found.not_tested if one.test == "windows of records"]
    assert nobody == ["FIT-9"]
    one = tmp_path / "one.csv"
    export(one, {"AIT2202.PV": lively(60)})
    assert [each.name for each in triage(one, options, plant, channels=[TAG]).channels] == ["AIT2202.PV"]
    with pytest.raises(ChooseAnother, match=r"one\.csv has no channel AIT2101\.PV; it has AIT2202\.PV\."):
        triage(one, options, plant, channels=["AIT-2101"])


def test_the_picture_shows_where_what_lies(real_data: Path) -> None:
    """A dark bar as long as the stand, in the picture of the one channel; the same bytes every time."""
    path, name = real_data / "utility_station_b_20min.csv", "B_CL2_VAL"
    found = triage(path, ExportOptions(time_zone=NEW_YORK), channels=[name])
    svg = chart(found, "svg")
    assert chart(found, "svg") == svg
    texts = [str(node.text) for node in ElementTree.fromstring(svg, _comments()).iter() if _is_comment(node)]
    assert any(name in text for text in texts)
    assert any("dead 28.6 d" in text for text in texts)
    assert any("black: dead trend; grey: flat" in text for text in texts)
    assert chart(found, "png").startswith(b"\x89PNG")


def test_the_picture_shows_what_is_flagged_and_where_it_changed_fast(tmp_path: Path) -> None:
    path = flagged_export(tmp_path / "e.csv", "BACKWASH", off=range(400, 430), high={700: 2.0}, many=False)
    found = triage(path, ExportOptions(channels=told(A=TriageOptions(rate_per_h=60))))
    begun = int(START.timestamp())
    assert [flag.spans for flag in found.flagged] == [((begun + 400 * 60, begun + 429 * 60),)]
    parsed = ElementTree.fromstring(chart(found, "svg"), _comments())
    texts = [str(node.text).strip() for node in parsed.iter() if _is_comment(node)]
    assert any("greatest fast changes; grey ground: window or flag" in text for text in texts)
    assert max(map(len, texts)) <= 105  # a longer caption would be cut off


def _comments() -> ElementTree.XMLParser:
    return ElementTree.XMLParser(target=ElementTree.TreeBuilder(insert_comments=True))


def _is_comment(node: ElementTree.Element) -> bool:
    return node.tag is ElementTree.Comment  # texts are drawn as paths; what they say stands beside them


def test_a_picture_of_nothing_is_refused(tmp_path: Path) -> None:
    values = np.full(30, np.nan)
    values[0] = 1.0
    found = look(export(tmp_path / "e.csv", {"A": values}))
    assert chart(found, "svg")  # one number is a picture
    nothing = Triage("e.csv", "", UTC, (), (), (), (), (), ())
    with pytest.raises(ChooseAnother, match=r"e\.csv has no channel with numbers to draw\."):
        chart(nothing, "svg")


@pytest.mark.parametrize(
    ("header", "flags"),
    [
        ("time,A,Quality", "off"),
        ("time,A,B,Quality", ""),
        ("time,A,Quality,Status", ""),
        ("time,A,Remark", ""),
    ],
)
def test_a_column_of_flags_is_that_of_a_channel_only_where_no_other_could_be_meant(
    tmp_path: Path, header: str, flags: str
) -> None:
    from wqverify.trends import read_export

    cells = {"time": "2026-05-01T00:00:00Z", "A": "1.0", "B": "2.0"}
    path = tmp_path / "e.csv"
    path.write_text(f"{header}\n{','.join(cells.get(name, 'off') for name in header.split(','))}\n", "utf-8")
    assert read_export(path, ExportOptions()).channel_of("A").flag(0) == flags
