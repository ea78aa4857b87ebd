"""Real public exports (SOURCES.md beside them), read as they are: figures computed apart from wqverify."""

from __future__ import annotations

import csv
import statistics
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from wqverify.errors import CorrectTheEntry
from wqverify.trends import ChannelOptions, Export, ExportOptions, read_export
from wqverify.trends.cells import Kind
from wqverify.trends.slices import cut, read_slice
from wqverify.trends.summary import flat_rows


def read(folder: Path, file: str, options: ExportOptions) -> Export:
    return read_export(folder / file, options)


def epoch(*parts: int) -> int:
    return int(datetime(*parts, tzinfo=UTC).timestamp())  # type: ignore[misc, arg-type]


def test_two_redox_sensors_in_one_tank(real_data: Path) -> None:
    """SOURCES.md: 3541 pairs, mean of b - a -0.055 mV, sd 13.90 mV."""
    export = read(real_data, "redundant_redox_10min.csv", ExportOptions(time_zone="UTC"))
    a, b = (export.channel_of(name).values for name in ("redox_a_mV", "redox_b_mV"))
    assert len(a) == len(b) == 3541
    assert np.isfinite(a).all()
    assert np.isfinite(b).all()
    assert round(float((b - a).mean()), 3) == -0.055
    assert round(float((b - a).std(ddof=1)), 2) == 13.90


def test_a_station_across_the_change_of_the_clocks(real_data: Path) -> None:
    """7200 rows; 02:00, 02:20 and 02:40 of 2006-04-02 did not exist and are empty."""
    export = read(real_data, "utility_station_b_20min.csv", ExportOptions(time_zone="America/New_York"))
    assert export.told[0] == "utility_station_b_20min.csv: 7200 rows of 13 columns"
    gap = (
        "3 rows without values at times that did not exist in America/New_York (the clocks were put "
        "forward), 2006-04-02 02:00:00 to 2006-04-02 02:40:00: left out"
    )
    assert gap in export.told
    assert "dates are read month first, as 02/21/2006 tells" in export.told
    chlorine = export.channel_of("B_CL2_VAL")
    assert len(chlorine) == 7197
    assert (chlorine.times[0], chlorine.times[-1]) == (epoch(2006, 2, 21, 5), epoch(2006, 6, 1, 3, 40))
    assert set(np.diff(chlorine.times)) == {1200}  # in UTC no row is missing
    assert int((chlorine.values == 0).sum()) == 2055
    said = next(s for s in export.told if s.startswith("B_CL2_VAL: '0' stands in 2055 rows"))
    assert said.endswith('if it marks missing, write missing = ["0"]')
    toc = export.channel_of("B_TOC_VAL").values
    assert (toc[:1971] == 10.31).all()
    assert toc[1971] != 10.31
    assert flat_rows(export.channel_of("B_TOC_VAL")) == 1971
    assert int((export.channel_of("B_TURB_VAL").values > 0.3).sum()) == 1668


def test_zeros_are_missing_where_it_was_told(real_data: Path) -> None:
    options = ExportOptions(
        time_zone="America/New_York",
        channels={"B_CL2_VAL": ChannelOptions("AIT-2301", "mg/L", ("0",))},
        tag="AIT-2301",
    )
    export = read(real_data, "utility_station_b_20min.csv", options)
    chlorine = export.channel_of("AIT-2301")
    assert (chlorine.unit, chlorine.count(Kind.MISSING), chlorine.count(Kind.NUMBER)) == ("mg/L", 2055, 5142)
    assert "AIT-2301: 5142 of 7197 rows are numbers, 2055 marked missing" in export.told
    assert (export.channel_of("B_PLNT_CL2_VAL").values == 0).sum() == 31  # told for one channel only


def test_a_sonde_with_text_flags(real_data: Path) -> None:
    """5856 rows, 523 of them missing; each value has a flag such as <1> [SDO] (CCU)."""
    export = read(real_data, "estuary_sonde_15min_flags.csv", ExportOptions(time_zone="-05:00"))
    oxygen = export.channel_of("DO_mgl")
    assert (len(oxygen), oxygen.count(Kind.EMPTY), oxygen.count(Kind.NUMBER)) == (5856, 523, 5333)
    assert oxygen.flag(0) == "<1> [SDO] (CCU)"
    assert (oxygen.cell(0).text, oxygen.values[0]) == ("3.8", 3.8)
    assert oxygen.flags is not None
    counted = dict(zip(oxygen.flags.distinct, oxygen.flags.counts(), strict=True))
    with (real_data / "estuary_sonde_15min_flags.csv").open(newline="") as stream:
        flags = [row["F_DO_mgl"].strip() for row in csv.DictReader(stream)]
    assert counted == {flag: flags.count(flag) for flag in set(flags)}
    start, end = datetime(2021, 7, 2, 5, tzinfo=UTC), datetime(2021, 7, 2, 5, 15, tzinfo=UTC)
    assert cut(oxygen, start, end) == (
        b"time,value,flag\n2021-07-02T05:00:00Z,3.8,<1> [SDO] (CCU)\n2021-07-02T05:15:00Z,5.5,<0>\n"
    )


def test_a_level_with_bare_cr_and_a_number_for_missing(real_data: Path) -> None:
    file = "level_decimal_comma_semicolon_a.csv"
    options = ExportOptions(time_zone="+01:00", day_first=True)
    export = read(real_data, file, options)
    assert "text is UTF-8, separated by semicolons, lines end in bare CR" in export.told
    assert "numbers have a decimal comma" in export.told
    level = export.channel_of("NUMERIEKEWAARDE")
    assert level.values.tolist() == [628, 602, 572, 550]
    assert level.times[0] == epoch(1990, 1, 1, 7)
    assert export.channel_of("X").values[0] == 680971.416970065
    height = export.channel_of("BEMONSTERINGSHOOGTE")
    assert set(height.values) == {-999999999}  # said, and not dropped on a guess
    assert (
        "BEMONSTERINGSHOOGTE: '-999999999' stands in 4 rows (it stands apart from the other values); if it "
        'marks missing, write missing = ["-999999999"]'
    ) in export.told
    told = ExportOptions(time_zone="+01:00", day_first=True, missing=("-999999999",))
    names = [channel.name for channel in read(real_data, file, told).channels]
    assert "NUMERIEKEWAARDE" in names


def test_dates_that_can_be_read_in_two_ways_are_refused_with_both(real_data: Path) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        read(real_data, "level_decimal_comma_semicolon_a.csv", ExportOptions(time_zone="+01:00"))
    assert caught.value.message == (
        "level_decimal_comma_semicolon_a.csv: 02-01-1990 is 1990-01-02 if the day stands first and "
        "1990-02-01 if the month does, and no row tells; write day_first = true or day_first = false for "
        "this export."
    )


def test_a_river_before_and_after_correction(real_data: Path) -> None:
    """Raw minus corrected oxygen: mean 0.298 over the 3983 rows whose corrected value is no NULL.

    They are the first 3983 rows, 2020-01-01 00:00 to 2020-02-11 11:30 by its clock, without a break.
    """
    options = ExportOptions(time_zone="-07:00", missing=("NULL", "-9999"))
    export = read(real_data, "river_main_street_2020q1_15min.csv", options)
    raw, corrected = export.channel_of("do"), export.channel_of("do_cor")
    there = np.isfinite(corrected.values)
    assert there[:3983].all()
    assert not there[3983:].any()
    assert raw.times[0] == epoch(2020, 1, 1, 7)
    assert raw.times[3982] == epoch(2020, 2, 11, 18, 30)
    assert round(float((raw.values - corrected.values)[there].mean()), 3) == 0.298
    assert export.channel_of("temp").count(Kind.MISSING) == 2


def test_null_and_a_row_of_nines_are_said_until_they_are_told(real_data: Path) -> None:
    export = read(real_data, "river_main_street_2020q1_15min.csv", ExportOptions(time_zone="-07:00"))
    assert float(export.channel_of("temp").values.min()) == -9999
    assert (
        "temp: '-9999' stands in 2 rows (it stands apart from the other values); if it marks missing, write "
        'missing = ["-9999"]'
    ) in export.told
    assert (
        "do_cor: 'NULL' stands in 4753 rows (it is no number); if it marks missing, write "
        'missing = ["NULL"]'
    ) in export.told


def test_a_level_transmitter_beside_its_loop_current(real_data: Path) -> None:
    """UTF-8 with mark, semicolons, decimal commas, an umlaut and units in the header, CR LF."""
    options = ExportOptions(time_zone="Europe/Berlin", day_first=True)
    export = read(real_data, "level_logger_ma_decimal_comma.csv", options)
    level, current = export.channel_of("Höhe"), export.channel_of("I")
    assert (level.unit, current.unit, len(level), len(current)) == ("m", "mA", 2010, 2010)
    text = (real_data / "level_logger_ma_decimal_comma.csv").read_text("utf-8-sig").splitlines()[1:]
    own = [float(line.split(";")[1].replace(",", ".")) for line in text]
    assert level.values.tolist() == own
    assert statistics.fmean(own) == pytest.approx(float(level.values.mean()), abs=1e-12)
    rows = read_slice(
        cut(level, datetime(2014, 1, 9, 13, 30, tzinfo=UTC), datetime(2014, 1, 9, 13, 31, tzinfo=UTC))
    ).rows
    assert [(str(at), str(value), flag) for at, value, flag in rows] == [
        ("2014-01-09 13:30:19+00:00", "0.0203", ""),
        ("2014-01-09 13:31:00+00:00", "0.02", ""),
    ]


def test_results_of_a_laboratory_in_a_workbook(real_data: Path) -> None:
    """571 results, 60 calibration checks, 90 times the text BDL."""
    export = read(real_data, "volunteer_results_with_qc.xlsx", ExportOptions(time_zone="America/New_York"))
    assert sum(len(channel) for channel in export.channels) == 571
    checks = [c for c in export.channels if c.name.endswith("Quality Control-Calibration Check")]
    assert sum(len(channel) for channel in checks) == 60
    below = [(c, row) for c in export.channels for row in range(len(c)) if c.cell(row).kind is Kind.BELOW]
    assert len(below) == 90
    assert {channel.cell(row).text for channel, row in below} == {"BDL"}
    assert all(np.isnan(channel.values[row]) for channel, row in below)
    ph = export.channel_of("pH, Quality Control-Calibration Check")
    errors = [ph.values[n] - float(ph.beside["QC Reference Value"][n]) for n in range(len(ph))]
    assert round(statistics.fmean(errors), 4) == 0.0655  # of the same 20 rows in test_real_input.py
    assert "252 of 571 rows have a date without time of day and are taken at 00:00" in export.told
