"""Exports above the memory limit, by DuckDB: the same figures, nothing executed, copies by digest."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from wqverify.cli import cli
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.trends import ExportOptions, read_export
from wqverify.trends.kept import copy_at_hand, parquet_copy
from wqverify.trends.large import cut_of, long_csv, monthly, spans
from wqverify.trends.slices import cut
from wqverify.trends.summary import summarize
from wqverify.trends.whole import channel_around

OPTIONS = ExportOptions(time_zone="America/New_York", missing=("-9999",))
NAMES = ["export.csv", "it's; DROP TABLE export; --.csv", 'quo"ted [1]*?.csv', "export' || 'x.csv"]


def written(path: Path, *, header: str = "timestamp,tag,value,quality", sep: str = ",") -> Path:
    """Two tags for two months, every 6 h, with marks for missing, text and an empty value; synthetic."""
    lines = [header]
    for day in range(1, 59):
        month, date = (1, day) if day <= 31 else (2, day - 31)
        for hour in (0, 6, 12, 18):
            stamp = f"2026-{month:02d}-{date:02d} {hour:02d}:00:00"
            lines.append(sep.join((stamp, "AIT-2201", f"{0.05 + day / 200:.3f}", "good")))
            value = {3: "-9999.0", 4: "BDL", 5: "", 6: "1_0"}.get(day, f"{0.3:.1f}")
            lines.append(sep.join((stamp, "AIT-2301", value, "bad")))
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


@pytest.mark.parametrize("name", NAMES)
def test_monthly_means_and_shares_are_those_of_the_plain_reading(tmp_path: Path, name: str) -> None:
    path = written(tmp_path / name)
    found = monthly(long_csv(path, OPTIONS), 0.3)
    export = read_export(path, OPTIONS)
    assert [(m.tag, m.month) for m in found] == [
        ("AIT-2201", "2026-01"),
        ("AIT-2201", "2026-02"),
        ("AIT-2301", "2026-01"),
        ("AIT-2301", "2026-02"),
    ]
    for month in found:
        channel = export.channel_of(month.tag)
        local = np.array([datetime.fromtimestamp(t - 18000, UTC).strftime("%Y-%m") for t in channel.times])
        values = channel.values[local == month.month]
        numbers = values[np.isfinite(values)]
        assert (month.rows, month.n) == (len(values), len(numbers))
        assert month.mean == pytest.approx(float(numbers.mean()), rel=1e-12)
        assert month.above == int((numbers > 0.3).sum())
        assert month.share == pytest.approx((numbers > 0.3).mean(), rel=1e-12)
    assert found[2].n == 124 - 16
    assert found[2].above == 0  # exactly at the limit does not exceed it


def test_a_limit_for_each_tag(tmp_path: Path) -> None:
    found = monthly(long_csv(written(tmp_path / "e.csv"), OPTIONS), {"AIT-2301": 0.29, "it's": 1})
    assert [m.above for m in found] == [None, None, 108, 108]


def test_other_forms_of_time_and_decimal(tmp_path: Path) -> None:
    path = tmp_path / "e.csv"
    path.write_text("Zeit;tag;value\n31.01.2026 23:50;A;0,5\n01.02.2026 00:00;A;0,7\n", "utf-8")
    found = monthly(long_csv(path, OPTIONS), 0.6)
    assert [(m.month, m.mean, m.share) for m in found] == [("2026-01", 0.5, 0.0), ("2026-02", 0.7, 1.0)]


def test_times_with_an_offset_are_counted_in_utc(tmp_path: Path) -> None:
    path = tmp_path / "e.csv"
    path.write_text("time,tag,value\n2026-02-01T00:30:00+01:00,A,5\n2026-02-01T00:30:00Z,A,7\n", "utf-8")
    source = long_csv(path, ExportOptions())
    assert [(m.month, m.mean) for m in monthly(source)] == [("2026-01", 5.0), ("2026-02", 7.0)]
    assert source.told[1].endswith("times carry an offset, months are of UTC")


@pytest.mark.parametrize("name", NAMES)
def test_a_cut_of_one_tag_is_that_of_the_plain_reading(tmp_path: Path, name: str) -> None:
    path = written(tmp_path / name)
    start, end = datetime(2026, 1, 3, 17, tzinfo=UTC), datetime(2026, 1, 6, 5, tzinfo=UTC)
    large = cut_of(long_csv(path, OPTIONS), "AIT-2301", start, end)
    plain = read_export(path, OPTIONS).channel_of("AIT-2301")
    assert cut(large, start, end) == cut(plain, start, end)
    assert (large.times >= start.timestamp()).all()
    assert (large.times <= end.timestamp()).all()
    assert len(large) == 11


def test_a_tag_that_is_not_there_is_refused(tmp_path: Path) -> None:
    source = long_csv(written(tmp_path / "e.csv"), OPTIONS)
    moment = datetime(2026, 1, 3, tzinfo=UTC)
    with pytest.raises(ChooseAnother) as caught:
        cut_of(source, "x' OR '1'='1", moment, moment)
    assert caught.value.message == (
        "e.csv has no row of \"x' OR '1'='1\" from 2026-01-03 00:00+00:00 to 2026-01-03 00:00+00:00; name "
        "another tag or time."
    )


@pytest.mark.parametrize("name", NAMES)
def test_a_copy_is_used_only_while_the_export_is_the_same(tmp_path: Path, name: str) -> None:
    path = written(tmp_path / name)
    source = long_csv(path, OPTIONS)
    copy, made = parquet_copy(source)
    assert (copy, made) == (tmp_path / (name + ".parquet"), True)
    first = copy.read_bytes()
    assert parquet_copy(source) == (copy, False)
    assert spans(source, copy) == spans(source)
    path.write_text(path.read_text("utf-8").replace("0.3,bad", "0.4,bad", 1), "utf-8")
    assert parquet_copy(source) == (copy, True)
    assert copy.read_bytes() != first
    copy.write_bytes(b"PAR1 damaged")
    assert parquet_copy(source) == (copy, True)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([name, name + ".parquet"])


@pytest.mark.parametrize("tag", ["AIT-2201", "AIT-2301"])
def test_a_slice_is_the_same_from_the_export_and_from_its_copy(tmp_path: Path, tag: str) -> None:
    """Byte for byte, whichever part of the time is asked for."""
    source = long_csv(written(tmp_path / "e.csv"), OPTIONS)
    assert copy_at_hand(source) is None
    copy, _made = parquet_copy(source)
    assert copy_at_hand(source) == copy
    for first, last in ((1, 59), (3, 6), (31, 33), (58, 58)):
        start = datetime(2026, 1, 1, 5, tzinfo=UTC) + timedelta(days=first - 1)
        end = start + timedelta(days=last - first, hours=23)
        plain, kept = cut_of(source, tag, start, end), cut_of(source, tag, start, end, copy)
        assert cut(kept, start, end) == cut(plain, start, end)
        assert cut(plain, start, end) == cut(read_export(source.path, OPTIONS).channel_of(tag), start, end)


def test_the_part_a_record_keeps_is_the_same_of_a_large_export_and_of_a_small_one(tmp_path: Path) -> None:
    """By the name of the control system or by the tag, with a copy and without."""
    path = written(tmp_path / "e.csv")
    start, end = datetime(2026, 1, 10, tzinfo=UTC), datetime(2026, 1, 24, tzinfo=UTC)
    names = ("AIT2301.PV", "AIT-2301")
    plain = channel_around(path, OPTIONS, names, start, end)
    wanted = cut(plain.channel, start, end)
    assert cut(channel_around(path, OPTIONS, names, start, end, 100).channel, start, end) == wanted
    parquet_copy(long_csv(path, OPTIONS))
    kept = channel_around(path, OPTIONS, names, start, end, 100)
    assert cut(kept.channel, start, end) == wanted
    assert (kept.file, kept.digest, kept.channel.name) == (plain.file, plain.digest, "AIT-2301")
    assert cut(channel_around(path, OPTIONS, ("AIT-2301",), start, end, 100).channel, start, end) == wanted
    with pytest.raises(ChooseAnother, match=r"has no row of 'AIT-9' from 2026-01-10"):
        channel_around(path, OPTIONS, ("", "AIT-9"), start, end, 100)


def test_the_copy_keeps_the_order_that_tells_a_repeated_hour(tmp_path: Path) -> None:
    """Rows stand in pieces by tag; within a tag the hour that happened twice is told by the order alone."""
    path = tmp_path / "e.csv"
    clock = ["00:30", "01:00", "01:30", "01:00", "01:30", "02:00"]
    rows = [f"2026-11-01 {at}:00,{tag},{n}" for n, at in enumerate(clock) for tag in ("B", "A")]
    path.write_text("\n".join(["time,tag,value", *rows]) + "\n", "utf-8")
    source = long_csv(path, OPTIONS)
    copy, _made = parquet_copy(source)
    day = datetime(2026, 11, 1, tzinfo=UTC), datetime(2026, 11, 2, tzinfo=UTC)
    for tag in ("A", "B"):
        channel = cut_of(source, tag, *day, copy)
        assert channel.values.tolist() == [0, 1, 2, 3, 4, 5]
        assert np.diff(channel.times).tolist() == [1800] * 5


def test_a_copy_lies_by_tag_in_pieces_that_name_their_tag_and_time(tmp_path: Path) -> None:
    copy, _made = parquet_copy(long_csv(written(tmp_path / "e.csv"), OPTIONS))
    import duckdb

    tags = duckdb.execute(f"SELECT tag FROM read_parquet('{copy}')").fetchall()
    assert tags == sorted(tags)
    found = duckdb.execute(
        f"SELECT path_in_schema, stats_min_value, stats_max_value FROM parquet_metadata('{copy}')"
    ).fetchall()
    told = {path: (low, high) for path, low, high in found}
    assert told["tag"] == ("AIT-2201", "AIT-2301")
    assert told["time"] == ("2026-01-01 00:00:00", "2026-02-27 18:00:00")


def test_a_copy_that_was_read_in_another_way_is_made_again(tmp_path: Path) -> None:
    """Its numbers depend on what marks missing: another mark, another copy."""
    path = written(tmp_path / "e.csv")
    parquet_copy(long_csv(path, OPTIONS))
    other = long_csv(path, ExportOptions(time_zone="America/New_York"))
    assert copy_at_hand(other) is None
    copy, made = parquet_copy(other)
    assert made
    assert spans(other, copy) == spans(other)
    assert min(one.low or 0 for one in spans(other, copy)) == -9999


def test_a_copy_is_told_by_the_digest_where_the_export_was_only_touched(tmp_path: Path) -> None:
    path = written(tmp_path / "e.csv")
    source = long_csv(path, OPTIONS)
    copy, _made = parquet_copy(source)
    os.utime(path, ns=(1, 1))
    assert copy_at_hand(source) == copy
    path.write_text(path.read_text("utf-8").replace("0.3,bad", "0.4,bad", 1), "utf-8")
    assert copy_at_hand(source) is None


def test_a_row_unlike_the_first_ones_is_refused_with_its_line(tmp_path: Path) -> None:
    path = written(tmp_path / "e.csv")
    lines = path.read_text("utf-8").splitlines()
    path.write_text("\n".join([*lines * 200, "2026-02-30 00:00:00,A,1,x"]).replace(lines[0] + "\n", "", 199))
    text = path.read_text("utf-8").replace(lines[0] + "\n", "")
    path.write_text(lines[0] + "\n" + text, "utf-8")
    with pytest.raises(CorrectTheEntry, match=r"e\.csv.*: the rows are not all like the first ones \("):
        monthly(long_csv(path, OPTIONS))


def test_a_wide_file_above_the_limit_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "wide.csv"
    path.write_text("time,a,b\n2026-01-01 00:00,1,2\n", "utf-8")
    with pytest.raises(CorrectTheEntry) as caught:
        summarize(path, OPTIONS, 10)
    assert caught.value.message == (
        "wide.csv is too large to be read at once and has no row for each value with one column of times and "
        "one "
        "of tags (it has time, a, b); export a shorter time, or name tag_columns and value_column."
    )


def test_above_the_limit_the_plain_reading_refuses_and_the_summary_goes_by_tag(tmp_path: Path) -> None:
    path = written(tmp_path / "e.csv")
    size = path.stat().st_size
    with pytest.raises(
        CorrectTheEntry, match=r"e\.csv has 0\.0 MB, more than the 0\.0 MB that are read at once"
    ):
        read_export(path, OPTIONS, size - 1)
    by_tag, plain = summarize(path, OPTIONS, size - 1), summarize(path, OPTIONS, size)
    assert any(s.startswith("read by tag: repeated times, clock changes") for s in by_tag.told)
    assert by_tag.digest == plain.digest
    for one, other in zip(by_tag.channels, plain.channels, strict=True):
        assert (one.name, one.rows, one.n, one.low, one.high) == (
            other.name,
            other.rows,
            other.n,
            other.low,
            other.high,
        )
        assert one.median == pytest.approx(other.median)


# ---------------------------------------------------------------- command


def test_the_command_prints_what_was_read_and_a_row_per_channel(tmp_path: Path) -> None:
    path = written(tmp_path / "e.csv")
    arguments = ["trend", str(path), "--time-zone", "America/New_York", "--missing", "-9999"]
    done = CliRunner().invoke(cli, arguments, catch_exceptions=False, standalone_mode=False)
    lines = done.output.splitlines()
    assert lines[0] == "e.csv: 464 rows of 4 columns"
    assert "AIT-2301: 220 of 232 rows are numbers, 4 empty, 4 marked missing, 4 below a limit" not in lines
    assert (
        "AIT-2301: 216 of 232 rows are numbers, 4 empty, 4 marked missing, 4 below a limit, 4 other text"
        in lines
    )
    assert lines[-1].split()[:7] == ["AIT-2301", "232", "216", "4", "0.3", "0.3", "0.3"]
    told = CliRunner().invoke(cli, [*arguments, "--json", "--parquet"], standalone_mode=False)
    found = json.loads(told.output)
    assert [channel["name"] for channel in found["channels"]] == ["AIT-2201", "AIT-2301"]
    assert "e.csv.parquet was written" in found["told"]


def test_options_of_the_plant_are_used_and_a_mistake_is_named(tmp_path: Path) -> None:
    from wqverify.plant.exports import options_in

    file = tmp_path / "exports.toml"
    file.write_text(
        '[[export]]\nfiles = "filter_*.csv"\ntime_zone = "-05:00"\nmissing = ["-9999"]\n'
        '[export.channel.A]\nname = "AIT-2201"\nunit = "NTU"\n\n[[export]]\nfiles = "*"\ntime_zone = "UTC"\n',
        "utf-8",
    )
    options = options_in(file, "filter_1.csv")
    assert (options.time_zone, options.missing) == ("-05:00", ("-9999",))
    assert (options.channels["A"].name, options.channels["A"].unit) == ("AIT-2201", "NTU")
    assert options_in(file, "other.csv").time_zone == "UTC"
    assert options_in(tmp_path / "none.toml", "other.csv") == ExportOptions()
    for text, sentence in (
        ('time_zon = "UTC"', "exports.toml, line 3: time_zon is not known here; did you mean time_zone?"),
        ('decimal = "x"', 'exports.toml, line 3: decimal: \'x\' is no decimal mark; write "," or ".".'),
        (
            'time_zone = "Eastern"',
            "exports.toml, line 3: time_zone: 'Eastern' is not a time zone; write an IANA",
        ),
        (
            'kind = "shop"',
            "exports.toml, line 3: kind is 'shop'; it must be 'control system' or 'laboratory'.",
        ),
        (
            'day_first = "yes"',
            "exports.toml, line 3: day_first is 'yes'; write true or false, without quotes.",
        ),
    ):
        file.write_text(f'[[export]]\nfiles = "*"\n{text}\n', "utf-8")
        with pytest.raises(CorrectTheEntry) as caught:
            options_in(file, "x.csv")
        assert caught.value.message.startswith(sentence)
