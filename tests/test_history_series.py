"""What records say over the years: levels that outlive a bottle, serials, periods since an adjustment."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from history_rows import check, record, value, weekly
from plant_example import bytes_of, plant_in

from wqverify.book import Stands
from wqverify.errors import RepairTheFolder
from wqverify.lists.history_series import (
    Kept,
    Period,
    Series,
    changes_of,
    kept_in,
    series_of,
    series_of_periods,
)

ADJUSTED: dict[str, Any] = {"facts": {"adjusted": "yes"}}
NOT_ADJUSTED: dict[str, Any] = {"facts": {"adjusted": "no"}}


def kept(
    data: bytes, day: str = "2026-01-05", body: dict[str, Any] | None = None, serial: str = "S1"
) -> Kept:
    stands = Stands(f"R-{day}", "AIT-1", serial, "check", f"{day}T08:00-06:00")
    return kept_in(stands, body or {}, data)


def rows(*errors: str | None) -> list[Kept]:
    return [
        kept(data, began[:10], {"facts": {"adjusted": told["adjusted"]}, "outcomes": told["outcomes"]})
        for began, data, told in weekly(*errors)
    ]


def only(found: tuple[Series, ...], key: str = "as_found.error") -> Series:
    (one,) = [series for series in found if series.key == key]
    return one


# ---------------------------------------------------------------- reading


def test_a_real_record_gives_its_levels_by_kind_and_value(tmp_path: Path) -> None:
    plant = plant_in(tmp_path / "plant")
    told = {one.key: one for one in kept(bytes_of(plant, "pass")).told}
    assert {"as_found.buffer 7.00.error", "as_found.buffer 10.01.error", "as_found.slope"} <= set(told)
    assert (told["as_found.slope"].unit, told["as_found.slope"].counts) == ("%", False)
    assert told["as_found.buffer 7.00.error"].expanded == "0.019"


def test_a_bottle_read_for_information_only_gives_no_value(tmp_path: Path) -> None:
    plant = plant_in(tmp_path / "plant")
    told = {one.key: one.missing for one in kept(bytes_of(plant, "information")).told}
    assert told["as_found.buffer 10.01.error"]
    assert not told["as_found.buffer 7.00.error"]


@pytest.mark.parametrize(
    ("outcome", "tolerance", "information", "missing"),
    [
        ("pass", True, False, False),
        ("too close to decide", True, False, False),
        ("not evaluated", True, False, True),  # it could not be judged
        ("not evaluated", False, False, False),  # nobody set a tolerance; the value is as good as any
        ("pass", True, True, True),
    ],
)
def test_what_could_not_be_judged_is_a_missing_value(
    outcome: str, tolerance: bool, information: bool, missing: bool
) -> None:
    row = check("as_found.error", "0.03", outcome, tolerance=tolerance, information=information)
    point = only(series_of([kept(record([row]))])).points[0]
    assert (point.value is None) is missing
    assert (point.text, point.outcome) == ("0.03", outcome)


def test_a_check_without_a_quantity_is_no_point() -> None:
    assert series_of([kept(record([check("as_found.error", None, "not evaluated")]))]) == ()


@pytest.mark.parametrize("data", [b"", b"[]", b"{}", b'{"result": 1}', b'{"result": {"checks": [1]}}'])
def test_what_is_no_record_is_refused(data: bytes) -> None:
    with pytest.raises(
        RepairTheFolder, match="record R-2026-01-05 of AIT-1 is no record; run `wqverify book"
    ):
        kept(data)


# ---------------------------------------------------------------- series


def test_a_new_bottle_goes_on_with_the_series_of_the_old_one() -> None:
    bottle = {"kind": "buffer", "column": "7.00", "value": None}
    other = {"kind": "buffer", "column": "10.01", "value": None}
    found = series_of(
        [
            kept(record([check("as_found.B7-1.error", "0.01")], standards={"B7-1": bottle}), "2026-01-05"),
            kept(
                record(
                    [check("as_found.B7-2.error", "0.02"), check("as_found.B7-10.error", "0.03")],
                    standards={"B7-2": bottle, "B7-10": other},
                ),
                "2026-01-12",
            ),
        ]
    )
    assert [(one.key, one.values) for one in found] == [
        ("as_found.buffer 7.00.error", [0.01, 0.02]),
        ("as_found.buffer 10.01.error", [0.03]),
    ]


def test_another_serial_begins_a_series_of_its_own() -> None:
    one, two = (record([check("as_found.error", text)]) for text in ("0.01", "0.02"))
    found = series_of([kept(one, "2026-01-05"), kept(two, "2026-01-12", serial="S2")])
    assert [(series.serial, series.values) for series in found] == [("S1", [0.01]), ("S2", [0.02])]


def test_values_that_are_not_judged_are_series_too() -> None:
    found = series_of([kept(record([], [value("cell.constant", "0.101")]))])
    assert (found[0].key, found[0].judged, found[0].unit) == ("cell.constant", False, "1/cm")


def test_what_was_left_stands_with_what_was_found_and_alone_where_nothing_was() -> None:
    data = record([check("as_found.error", "0.2", "fail"), check("as_left.error", "0.01")])
    found = series_of([kept(data, body=ADJUSTED)])
    assert [series.key for series in found] == ["as_found.error"]
    assert found[0].points[0].left == 0.01
    alone = series_of([kept(record([check("as_left.buffer", "0.01")]), body=ADJUSTED)])
    assert [series.key for series in alone] == ["as_left.buffer"]


def test_values_in_another_unit_than_the_newest_are_left_out() -> None:
    old, new = check("as_found.error", "10", unit="uS/cm"), check("as_found.error", "0.01", unit="mS/cm")
    found = only(series_of([kept(record([old]), "2026-01-05"), kept(record([new]), "2026-01-12")]))
    assert found.values == [0.01]


# ---------------------------------------------------------------- since an adjustment


def test_an_adjustment_begins_a_period_at_what_was_left_then() -> None:
    found = only(series_of(rows("0.02", "0.15", "0.01", "0.03")))
    assert found.restarts == {2}
    assert changes_of(found) == [
        (5, pytest.approx(0.13)),
        (5, pytest.approx(0.01)),
        (10, pytest.approx(0.03)),
    ]


def test_without_a_value_as_left_the_first_one_after_it_begins_the_period() -> None:
    data = [record([check("as_found.error", text)]) for text in ("0.02", "0.15", "0.01", "0.03")]
    bodies = [NOT_ADJUSTED, ADJUSTED, NOT_ADJUSTED, NOT_ADJUSTED]
    days = ("2026-01-05", "2026-01-10", "2026-01-15", "2026-01-20")
    found = only(series_of([kept(*row) for row in zip(data, days, bodies, strict=True)]))
    assert changes_of(found) == [(5, pytest.approx(0.13)), (5, pytest.approx(0.02))]


def test_an_adjustment_by_another_procedure_begins_a_period_too() -> None:
    first, last = rows("0.05")[0], rows("0.05", "0.01")[1]
    between = kept_in(
        Stands("R-x", "AIT-1", "S1", "calibration", "2026-01-07T08:00-06:00"),
        ADJUSTED,
        record([check("as_left.gain", "1.0")]),
    )
    found = only(series_of([first, between, last]))
    assert found.restarts == {1}
    assert changes_of(found) == []


def test_a_missing_value_is_no_change_and_breaks_no_period() -> None:
    found = only(series_of(rows("0.01", None, "0.03")))
    assert found.values == [0.01, None, 0.03]
    assert changes_of(found) == [(10, pytest.approx(0.02))]


# ---------------------------------------------------------------- a log of periods


@pytest.mark.parametrize(
    ("error", "outcome"),
    [("4.99", "pass"), ("-5.00", "pass"), ("5", "pass"), ("5.01", "fail"), ("-5.1", "fail")],
)
def test_the_end_of_a_period_is_judged_by_its_limits(error: str, outcome: str) -> None:
    start, end = datetime(2026, 1, 1, tzinfo=UTC), datetime(2026, 1, 15, 12, tzinfo=UTC)
    period = Period(start, end, Decimal(error))
    found = series_of_periods([period], label="drift", unit="uS/cm", low="-5", high="5")
    assert period.days == 14.5
    assert (found.points[0].outcome, found.points[0].text) == (outcome, error)
