"""Exports read exactly as they are: made-up (synthetic) files, each with the fault its test names."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wqverify.errors import ChooseAnother, CorrectTheEntry, WqverifyError
from wqverify.trends import ChannelOptions, Export, ExportOptions, read_export
from wqverify.trends.cells import Kind, read_cell
from wqverify.trends.options import zone_of

NEW_YORK = ExportOptions(time_zone="America/New_York")
SUMMER = ExportOptions(time_zone="-05:00")


def read(folder: Path, content: str | bytes, options: ExportOptions = SUMMER, **more: int) -> Export:
    path = folder / "export.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_export(path, options, **more)


def refused(folder: Path, content: str | bytes, options: ExportOptions = SUMMER, **more: int) -> str:
    with pytest.raises(WqverifyError) as caught:
        read(folder, content, options, **more)
    return caught.value.message


def rows(*lines: str, head: str = "time,AIT-2101", end: str = "\n") -> str:
    return end.join([head, *lines]) + end


def at(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


PLAIN = rows("2026-03-10 08:00,7.40", "2026-03-10 08:10,7.41")


# ---------------------------------------------------------------- encodings, separators, headers


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (PLAIN.encode(), "text is UTF-8, separated by commas, lines end in LF"),
        (
            b"\xef\xbb\xbf" + PLAIN.encode(),
            "text is UTF-8 with byte order mark, separated by commas, lines end in LF",
        ),
        (PLAIN.encode("utf-16"), "text is UTF-16, separated by commas, lines end in LF"),
        (PLAIN.replace("\n", "\r").encode(), "text is UTF-8, separated by commas, lines end in bare CR"),
        (PLAIN.replace("\n", "\r\n").encode(), "text is UTF-8, separated by commas, lines end in CR LF"),
        (PLAIN.replace(",", ";").encode(), "text is UTF-8, separated by semicolons, lines end in LF"),
        (PLAIN.replace(",", "\t").encode(), "text is UTF-8, separated by tabs, lines end in LF"),
        (
            PLAIN.replace("AIT-2101", "AIT-2101 [°C]").encode("latin-1"),
            "text is not UTF-8 and was read as Windows-1252 (Latin-1), separated by commas, lines end in LF",
        ),
    ],
)
def test_every_encoding_separator_and_line_end_gives_the_same_values(
    tmp_path: Path, content: bytes, told: str
) -> None:
    export = read(tmp_path, content)
    assert told in export.told
    channel = export.channel_of("AIT-2101")
    assert channel.values.tolist() == [7.40, 7.41]
    assert channel.times.tolist() == [at("2026-03-10 13:00"), at("2026-03-10 13:10")]
    assert channel.unit in ("", "°C")


def test_title_lines_and_a_row_of_units(tmp_path: Path) -> None:
    content = (
        "Ellodale water plant (synthetic)\nPrinted 2026-03-11 07:00\n\n"
        "time,AIT-2101,AIT-2201\n,pH,NTU\n2026-03-10 08:00,7.40,0.085\n2026-03-10 08:10,7.41,0.086\n"
    )
    export = read(tmp_path, content)
    assert (
        "2 title lines above the header were skipped: 'Ellodale water plant (synthetic)', "
        "'Printed 2026-03-11 07:00'"
    ) in export.told
    assert "line 5 holds units" in export.told
    assert [(c.name, c.unit) for c in export.channels] == [("AIT-2101", "pH"), ("AIT-2201", "NTU")]


def test_units_in_the_header_and_words_that_are_none(tmp_path: Path) -> None:
    head = "time,Level [m],Turbidity (NTU),Flow (raw)"
    export = read(tmp_path, rows("2026-03-10 08:00,4.1,0.085,12", head=head))
    assert [(c.name, c.unit) for c in export.channels] == [
        ("Level", "m"),
        ("Turbidity", "NTU"),
        ("Flow (raw)", ""),
    ]


def test_a_line_after_the_data_is_skipped_and_said(tmp_path: Path) -> None:
    export = read(tmp_path, PLAIN + "End of report\n")
    assert "1 lines after the data were skipped: 'End of report'" in export.told


def test_a_name_and_unit_of_our_own(tmp_path: Path) -> None:
    options = ExportOptions(time_zone="UTC", channels={"AIT-2101": ChannelOptions("pH at the filter", "pH")})
    assert [(c.name, c.unit) for c in read(tmp_path, PLAIN, options).channels] == [("pH at the filter", "pH")]


# ---------------------------------------------------------------- times


@pytest.mark.parametrize(
    "stamp",
    [
        "2026-03-10 18:05",
        "2026-03-10T18:05:00",
        "2026/03/10 18:05",
        "20260310 18:05",
        "10-MAR-2026 18:05:00.000",
        "Mar 10, 2026 6:05 PM",
        "2026-03-10 6:05:00 p.m.",
        "2026-03-10T23:05:00Z",
        "2026-03-11T01:05:00+02:00",
        "2026-03-10 18:05 -0500",
        "1773183900",
        "1773183900000",
    ],
)
def test_every_form_of_a_time_is_the_same_moment(tmp_path: Path, stamp: str) -> None:
    export = read(tmp_path, rows(f'"{stamp}",7.40'))
    assert export.channels[0].times.tolist() == [at("2026-03-10 23:05")]


@pytest.mark.parametrize(
    ("stamps", "first"),
    [
        (["03/10/2026 08:00", "03/13/2026 08:00"], "2026-03-10 13:00"),
        (["10.03.2026 08:00", "13.03.2026 08:00"], "2026-03-10 13:00"),
        (["03.03.2026 08:00"], "2026-03-03 13:00"),  # day and month alike: nothing to decide
        (["13/3/26 8:00", "14/3/26 8:00"], "2026-03-13 13:00"),
    ],
)
def test_rows_tell_which_of_day_and_month_stands_first(tmp_path: Path, stamps: list[str], first: str) -> None:
    export = read(tmp_path, rows(*(f"{stamp},7.40" for stamp in stamps)))
    assert export.channels[0].times[0] == at(first)


def test_day_first_and_month_first_as_told(tmp_path: Path) -> None:
    content = rows("03/10/2026 08:00,7.40")
    day = read(tmp_path, content, ExportOptions(time_zone="UTC", day_first=True))
    month = read(tmp_path, content, ExportOptions(time_zone="UTC", day_first=False))
    assert day.channels[0].times[0] == at("2026-10-03 08:00")
    assert month.channels[0].times[0] == at("2026-03-10 08:00")


def test_date_and_time_of_day_in_two_columns(tmp_path: Path) -> None:
    content = rows("13.03.2026;08:00;7,40", "13.03.2026;24:00;7,41", head="day;clock;AIT-2101")
    export = read(tmp_path, content)
    assert "times are in 'day' and 'clock'" in export.told
    assert "24:00 in 1 rows is taken as 00:00 of the next day" in export.told
    assert export.channels[0].times.tolist() == [at("2026-03-13 13:00"), at("2026-03-14 05:00")]


def test_what_is_missing_between_the_times_is_told(tmp_path: Path) -> None:
    stamps = ["08:00", "08:10", "08:20", "09:00", "09:10"]
    export = read(tmp_path, rows(*(f"2026-03-10 {s},7.40" for s in stamps), ",7.0"))
    assert "1 rows have no time (export.csv, line 7): left out" in export.told
    assert (
        "a row every 10 min; 3 missing in 1 gaps, the longest of 40 min from 2026-03-10 13:20:00 UTC"
    ) in export.told


def test_rows_newest_first_and_rows_out_of_order(tmp_path: Path) -> None:
    falling = [f"2026-03-10 08:{m:02d},{m}" for m in (30, 20, 10)]
    export = read(tmp_path, rows(*falling))
    assert export.channels[0].values.tolist() == [10, 20, 30]
    assert "rows stand newest first and were turned round" in export.told
    mixed = read(tmp_path, rows(*(f"2026-03-10 08:{m:02d},{m}" for m in (10, 30, 20, 40))))
    assert mixed.channels[0].values.tolist() == [10, 20, 30, 40]
    assert "1 rows are earlier than the row above: sorted by time" in mixed.told


# ---------------------------------------------------------------- clocks put forward and back


def test_the_repeated_hour_by_the_order_of_the_rows(tmp_path: Path) -> None:
    stamps = ["00:40", "01:00", "01:20", "01:40", "01:00", "01:20", "01:40", "02:00"]
    export = read(tmp_path, rows(*(f"2026-11-01 {s},{n}" for n, s in enumerate(stamps))), NEW_YORK)
    channel = export.channels[0]
    assert channel.times.tolist() == [at("2026-11-01 04:40") + 1200 * n for n in range(8)]
    assert channel.values.tolist() == list(range(8))
    assert any("3 rows before and 3 after the clocks were put back, by their order" in s for s in export.told)


def test_hourly_rows_tell_the_repeated_hour_too(tmp_path: Path) -> None:
    stamps = ["00:00", "01:00", "01:00", "02:00"]
    export = read(tmp_path, rows(*(f"2026-11-01 {s},{n}" for n, s in enumerate(stamps))), NEW_YORK)
    assert export.channels[0].times.tolist() == [at("2026-11-01 04:00") + 3600 * n for n in range(4)]


HOUR_ONCE = rows("2026-11-01 00:40,1", "2026-11-01 01:00,2", "2026-11-01 01:20,3", "2026-11-01 02:00,4")


def test_a_repeated_hour_that_stands_once_is_refused_with_both_readings(tmp_path: Path) -> None:
    assert refused(tmp_path, HOUR_ONCE, NEW_YORK) == (
        "export.csv, line 3: 2026-11-01 01:00:00 happened twice in America/New_York and the order of the "
        "rows does not tell which is meant, 2026-11-01 01:00:00 -04:00 or 2026-11-01 01:00:00 -05:00; write "
        'repeated_hour = "first" or "second", or, where the clock of the export does not follow daylight '
        'saving, its fixed offset, such as time_zone = "-05:00".'
    )


@pytest.mark.parametrize(("which", "second"), [("first", "05:00"), ("second", "06:00")])
def test_a_repeated_hour_as_told(tmp_path: Path, which: str, second: str) -> None:
    options = ExportOptions(time_zone="America/New_York", repeated_hour=which)  # type: ignore[arg-type]
    assert read(tmp_path, HOUR_ONCE, options).channels[0].times[1] == at(f"2026-11-01 {second}")


def test_letters_of_the_zone_tell_the_repeated_hour(tmp_path: Path) -> None:
    content = rows("2026-11-01 01:00 EDT,1", "2026-11-01 01:00 EST,2")
    export = read(tmp_path, content, NEW_YORK)
    assert export.channels[0].times.tolist() == [at("2026-11-01 05:00"), at("2026-11-01 06:00")]


def test_values_at_a_time_that_did_not_exist_are_refused(tmp_path: Path) -> None:
    content = rows("2026-03-08 01:40,7.40", "2026-03-08 02:00,7.41", "2026-03-08 03:00,7.42")
    assert refused(tmp_path, content, NEW_YORK) == (
        "export.csv, line 3: 2026-03-08 02:00:00 does not exist in America/New_York, the clocks were put "
        "forward over it, and the row has a value; correct time_zone, and where the clock of the export does "
        'not follow daylight saving write its fixed offset, such as time_zone = "-05:00".'
    )


@given(st.lists(st.integers(0, 400_000), min_size=2, max_size=30, unique=True), st.booleans())
def test_moments_across_both_changes_of_the_clocks_come_back(minutes: list[int], autumn: bool) -> None:
    """A written export reads back: with offsets exactly, in wall-clock time where each hour stands whole."""
    import tempfile

    start = at("2026-10-20 00:00") if autumn else at("2026-03-01 00:00")
    moments = [start + 60 * m for m in sorted(minutes)]
    zone = zone_of("America/New_York")
    lines = [f"{datetime.fromtimestamp(m, zone).isoformat()},{n}" for n, m in enumerate(moments)]
    with tempfile.TemporaryDirectory() as folder:
        export = read(Path(folder), rows(*lines), ExportOptions())
        dense = [start + 600 * n for n in range(3000)]  # three weeks of ten minutes
        wall = [f"{datetime.fromtimestamp(m, zone):%Y-%m-%d %H:%M},{n}" for n, m in enumerate(dense)]
        again = read(Path(folder), rows(*wall), NEW_YORK)
    assert export.channels[0].times.tolist() == moments
    assert again.channels[0].times.tolist() == dense


# ---------------------------------------------------------------- repeated times


def test_a_row_that_repeats_another_is_dropped_and_said(tmp_path: Path) -> None:
    export = read(tmp_path, rows("2026-03-10 08:00,7.40", "2026-03-10 08:00,7.40", "2026-03-10 08:10,7.41"))
    assert len(export.channels[0]) == 2
    assert "AIT-2101: 1 rows repeat the time and value of another: dropped" in export.told


TWO_VALUES = rows("2026-03-10 08:00,7.40", "2026-03-10 08:00,7.50", "2026-03-10 08:10,7.41")


def test_two_values_at_one_time_are_refused(tmp_path: Path) -> None:
    assert refused(tmp_path, TWO_VALUES) == (
        "export.csv, lines 2 and 3: AIT-2101 has 7.40 and 7.50 at the same time, 2026-03-10 08:00:00; write "
        'duplicates = "first" or "last" for this export, or kind = "laboratory" where several results at one '
        "time are right."
    )


@pytest.mark.parametrize(("which", "value"), [("first", 7.40), ("last", 7.50)])
def test_of_two_values_the_one_that_was_told(tmp_path: Path, which: str, value: float) -> None:
    export = read(tmp_path, TWO_VALUES, ExportOptions(time_zone="UTC", duplicates=which))  # type: ignore[arg-type]
    assert export.channels[0].values.tolist() == [value, 7.41]
    assert (
        f"AIT-2101: 1 rows repeat a time with another value: the {which} was taken, as told"
    ) in export.told


def test_a_laboratory_may_have_several_results_at_one_time(tmp_path: Path) -> None:
    options = ExportOptions(time_zone="UTC", kind="laboratory")
    assert read(tmp_path, TWO_VALUES, options).channels[0].values.tolist() == [7.40, 7.50, 7.41]


# ---------------------------------------------------------------- cells


@pytest.mark.parametrize(
    ("text", "kind", "limit"),
    [
        ("7.40", Kind.NUMBER, None),
        ("-.5", Kind.NUMBER, None),
        ("1e-3", Kind.NUMBER, None),
        ("", Kind.EMPTY, None),
        ("<0.02", Kind.BELOW, 0.02),
        ("< 0.02", Kind.BELOW, 0.02),
        ("BDL", Kind.BELOW, None),
        ("nd", Kind.BELOW, None),
        ("<LOD", Kind.BELOW, None),
        (">2419.6", Kind.ABOVE, 2419.6),
        ("-9999", Kind.MISSING, None),
        ("-9999.00", Kind.MISSING, None),
        ("NULL", Kind.MISSING, None),
        ("1_0", Kind.TEXT, None),
        ("nan", Kind.TEXT, None),
        ("inf", Kind.TEXT, None),
        ("1e999", Kind.TEXT, None),
        ("7,40", Kind.TEXT, None),
        ("٧", Kind.TEXT, None),
        ("<0>", Kind.TEXT, None),
        ("7.4*", Kind.TEXT, None),
        ("1,234.5", Kind.TEXT, None),
    ],
)
def test_what_a_cell_is_taken_for(text: str, kind: Kind, limit: float | None) -> None:
    cell = read_cell(text, ".", ("-9999", "NULL"))
    assert cell.kind is kind
    assert cell.text == text
    assert np.isnan(cell.value) == (kind is not Kind.NUMBER)
    assert np.isnan(cell.limit) if limit is None else cell.limit == limit


def test_censored_results_keep_their_limit_and_are_no_number(tmp_path: Path) -> None:
    head = "time,tag,value,unit,limit of detection"
    lines = [
        "2026-03-10 08:00,Cl,BDL,mg/L,0.02",
        "2026-03-10 09:00,Cl,<0.05,mg/L,",
        "2026-03-10 10:00,Cl,0.07,mg/L,",
    ]
    channel = read(tmp_path, rows(*lines, head=head)).channel_of("Cl")
    assert [(channel.cell(n).kind, channel.cell(n).limit) for n in range(2)] == [
        (Kind.BELOW, 0.02),
        (Kind.BELOW, 0.05),
    ]
    assert np.isnan(channel.values[:2]).all()
    assert channel.values[2] == 0.07


def test_decimal_commas_are_found_or_asked_for(tmp_path: Path) -> None:
    both = rows("2026-03-10 08:00;7,40;0.5", head="time;a;b")
    assert refused(tmp_path, both) == (
        'export.csv: 7,40 and 0.5 both stand in it, so the decimal mark is not clear; write decimal = "," or '
        'decimal = "." for this export.'
    )
    assert refused(tmp_path, rows("2026-03-10 08:00;1,234", head="time;a")) == (
        'export.csv: 1,234 can be 1.234 or 1234; write decimal = "," or decimal = "." for this export.'
    )
    told = ExportOptions(time_zone="UTC", decimal=",")
    assert read(tmp_path, rows("2026-03-10 08:00;1,234", head="time;a"), told).channels[0].values[0] == 1.234


@pytest.mark.parametrize(("nines", "said"), [("-9999", True), ("999", False), ("-999", True)])
def test_numbers_that_stand_apart_are_said_and_kept(tmp_path: Path, nines: str, said: bool) -> None:
    """999 lies among values of hundreds and is one of them."""
    values = ["940", "1010", nines, "980"]
    lines = [f"2026-03-10 08:{n}0,{value}" for n, value in enumerate(values)]
    export = read(tmp_path, rows(*lines))
    assert export.channels[0].values[2] == float(nines)
    sentence = (
        f"AIT-2101: '{nines}' stands in 1 rows (it stands apart from the other values); if it marks missing, "
        f'write missing = ["{nines}"]'
    )
    assert (sentence in export.told) is said


def test_flags_in_a_column_of_their_own(tmp_path: Path) -> None:
    head = "time,AIT-2101,AIT-2101_quality,AIT-2201,note"
    export = read(
        tmp_path, rows("2026-03-10 08:00,7.4,good,0.08,x", "2026-03-10 08:10,,bad,0.09,y", head=head)
    )
    channel = export.channel_of("AIT-2101")
    assert [channel.flag(n) for n in range(2)] == ["good", "bad"]
    assert export.channel_of("AIT-2201").flags is None
    assert "columns taken as flags: AIT-2101_quality of AIT-2101" in export.told
    assert "columns without any number, not read as channels: note" in export.told
    assert "AIT-2101: 1 of 2 rows are numbers, 1 empty" in export.told


# ---------------------------------------------------------------- a row for each value


def test_a_long_export_gives_a_channel_for_each_tag(tmp_path: Path) -> None:
    head = "timestamp,tag,value,quality"
    lines = [
        "2026-03-10 08:00,AIT-2101,7.4,good",
        "2026-03-10 08:00,AIT-2201,0.08,good",
        "2026-03-10 08:10,AIT-2101,7.5,bad",
    ]
    export = read(tmp_path, rows(*lines, head=head), ExportOptions(time_zone="UTC", tag="AIT-2201"))
    assert [(c.name, len(c)) for c in export.channels] == [("AIT-2101", 2), ("AIT-2201", 1)]
    assert export.channel_of("AIT-2101").flag(1) == "bad"


def test_one_name_with_two_units_is_two_channels(tmp_path: Path) -> None:
    head = "time,tag,value,unit"
    export = read(tmp_path, rows("2026-03-10 08:00,P,1,mg/L", "2026-03-10 08:00,P,99,%", head=head))
    assert [(c.name, c.unit) for c in export.channels] == [("P [mg/L]", "mg/L"), ("P [%]", "%")]


def test_the_tag_may_stand_in_a_title_line(tmp_path: Path) -> None:
    content = "Tag: AIT-2101\n" + rows("2026-03-10 08:00,7.4", head="time,value")
    export = read(tmp_path, content, ExportOptions(time_zone="UTC", tag="AIT-2101"))
    assert export.channel_of("AIT-2101").values.tolist() == [7.4]
    assert "the column value is AIT-2101, as a title line says" in export.told


# ---------------------------------------------------------------- refused


NO_TIMES = (
    "no column holds times with a date, such as 2026-03-31 14:05; name the columns of date and time of day"
)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ("", "export.csv is empty; export it again."),
        (" \n \n", "export.csv is empty; export it again."),
        ("time,AIT-2101\n", "export.csv has a header and no rows; export it again."),
        (
            "2026-03-10 08:00,7.4\n2026-03-10 08:10,7.4\n",
            "export.csv, line 1: the file begins with data and has",
        ),
        ("a,b\n1,2\n3,4\n", f"export.csv: {NO_TIMES} as time = [...] for this export."),
        ("just a line\nand another\n", "export.csv: the lines are not parted into equally many fields by"),
        (b"\x00\x01\x02\x03", "export.csv is no text and no xlsx workbook (it holds zero bytes)"),
        (b"\xff\xfe\x00", "export.csv is no text and no xlsx workbook (it holds zero bytes)"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" * 4, "export.csv is a workbook of the old form .xls; save it"),
        (b"PK\x03\x04 no zip", "export.csv cannot be read as an xlsx workbook; open it in"),
        (
            rows("2026-03-10 08:00,7.4", head="time,a,a").replace("7.4", "7.4,7.5"),
            "export.csv: the columns 2 and 3 are both named 'a'; rename one in the export",
        ),
        (
            rows("2026-03-10 08:00,7.4", "2026-03-10 08:10", "2026-03-10 08:20,7.4"),
            "export.csv, line 3: it has 1 fields, the header has 2; the line is cut off, or a",
        ),
        (
            rows("2026-03-10 08:00,7.4", "2026-03-10 08:1"),
            "export.csv, line 3: it has 1 fields, the header has 2; the line is cut off",
        ),
        (
            rows("2026-03-10 08:00,7.4", "2026-03-10 08:10,7,4", "2026-03-10 08:20,7.4"),
            "export.csv, line 3: it has 3 fields, the header has 2; the line is cut off",
        ),
        (
            rows('2026-03-10 08:00,"7.4', "2026-03-10 08:10,7.4"),
            "export.csv, line 3: a field in double quotes",
        ),
        (
            rows("2026-03-10 08:00,7.4", "2026-02-30 08:10,7.4"),
            "export.csv, line 3: '2026-02-30' is not a date that exists; a time was expected such as",
        ),
        (rows("2026-03-10 08:00,7.4", "soon,7.4"), "export.csv, line 3: 'soon' is not a date that exists"),
        (
            rows("2026-03-10 08:00,7.4", "2026-03-10 25:10,7.4"),
            "export.csv, line 3: '25:10' is not a time of day; 14:05, 14:05:30 or 2:05 PM was expected.",
        ),
        (
            rows("2026-03-10 08:00 AM,7.4", "2026-03-10 09:00,7.4"),
            "export.csv, line 3: '09:00' has neither AM nor PM, and other rows have;",
        ),
        (
            rows("13/03/2026 08:00,7.4", "03/14/2026 08:00,7.4"),
            "export.csv: 13/03/2026 has its day first and 03/14/2026 its month first; one",
        ),
        (
            rows("2026-03-10 08:00,x", head="time,note"),
            "export.csv has no column with numbers besides its times; export the values.",
        ),
    ],
)
def test_a_file_that_cannot_be_taken_is_refused_in_a_sentence(
    tmp_path: Path, content: str | bytes, sentence: str
) -> None:
    assert refused(tmp_path, content).startswith(sentence)


def test_without_a_time_zone_it_is_said_what_to_write(tmp_path: Path) -> None:
    assert refused(tmp_path, PLAIN, ExportOptions()) == (
        "export.csv: the times carry no offset (2026-03-10 08:00:00 on line 2) and no time zone was told; "
        "write "
        'time_zone = "America/New_York" (the IANA name of where the clock stands) or, where the clock does '
        "not "
        'follow daylight saving, a fixed offset such as time_zone = "-05:00".'
    )


@pytest.mark.parametrize("zone", ["Eastern", "America", "../etc", "+25:00", "-05", "EST5EDT4"])
def test_what_is_no_time_zone_is_refused(zone: str) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        zone_of(zone)
    assert caught.value.message == (
        f"'{zone}' is not a time zone; write an IANA name such as America/New_York, or a fixed offset such "
        f"as "
        f"-05:00 where the clock of the export does not follow daylight saving."
    )


def test_letters_of_another_zone_are_refused(tmp_path: Path) -> None:
    assert refused(tmp_path, rows("2026-03-01 08:00 PST,7.4"), NEW_YORK) == (
        "export.csv, line 2: the time ends in PST, which America/New_York does not use (EST); correct "
        "time_zone "
        "for this export."
    )


def test_an_order_of_day_and_month_that_cannot_be_is_refused(tmp_path: Path) -> None:
    options = ExportOptions(time_zone="UTC", day_first=True)
    assert refused(tmp_path, rows("03/14/2026 08:00,7.4"), options) == (
        "export.csv: day_first = true was told, but 03/14/2026 cannot be read so; write day_first = false."
    )


def test_a_file_of_another_tag_is_refused(tmp_path: Path) -> None:
    options = ExportOptions(time_zone="UTC", tag="AIT-2201")
    assert refused(tmp_path, PLAIN, options) == (
        "export.csv holds AIT-2101; AIT-2201 was expected. Name the export of AIT-2201, or give its column "
        "that "
        'name: [export.channel."COLUMN"] name = "AIT-2201".'
    )


def test_a_column_that_is_not_there_is_refused(tmp_path: Path) -> None:
    options = ExportOptions(time_zone="UTC", time=("when",))
    assert refused(tmp_path, PLAIN, options) == (
        "export.csv has no column 'when', which was told as a column of times; it has 'time', 'AIT-2101'."
    )


def test_capitals_do_not_matter_where_they_do_not_tell_channels_apart(tmp_path: Path) -> None:
    head = "time,ait-2101,B,b"
    export = read(tmp_path, rows("2026-03-10 08:00,7.40,1,2", head=head.replace(",B,b", "")))
    assert export.channel_of("AIT-2101").name == "ait-2101"
    both = read(tmp_path, rows("2026-03-10 08:00,7.40,1,2", head=head))
    assert both.channel_of("b").values.tolist() == [2.0]
    with pytest.raises(ChooseAnother, match="has no channel AIT-2101; it has ait-2101, B, b"):
        both.channel_of("AIT-2101")


def test_a_channel_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ChooseAnother) as caught:
        read(tmp_path, PLAIN).channel_of("", "AIT-2201")
    assert caught.value.message == (
        "export.csv has no channel AIT-2201; it has AIT-2101. Name another export, or give the column this "
        "name "
        "among the channels of trends/exports.toml."
    )


@pytest.mark.parametrize("room", [-1, 0, 1])
def test_the_limit_of_what_is_read_at_once(tmp_path: Path, room: int) -> None:
    size = len(PLAIN.encode())
    if room >= 0:
        assert len(read(tmp_path, PLAIN, limit_bytes=size + room).channels[0]) == 2
        return
    assert refused(tmp_path, PLAIN, limit_bytes=size + room).startswith(
        "export.csv has 0.0 MB, more than the 0.0 MB that are read at once; export a shorter time, or read "
        "it by"
    )


def test_a_file_that_is_not_there_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(CorrectTheEntry, match=r"There is no file .*nothing\.csv; correct its name\."):
        read_export(tmp_path / "nothing.csv", SUMMER)
    with pytest.raises(CorrectTheEntry, match=r"is no file; name the export itself\."):
        read_export(tmp_path, SUMMER)


@given(st.binary(max_size=300))
def test_whatever_bytes_a_file_holds_it_is_read_or_refused(data: bytes) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder, suppress(WqverifyError):
        read(Path(folder), data)


# ---------------------------------------------------------------- workbooks


def workbook(folder: Path, *lines: list[object]) -> Path:
    book = openpyxl.Workbook()
    for line in lines:
        book.active.append(line)
    book.save(folder / "lab.xlsx")
    return folder / "lab.xlsx"


def test_a_workbook_with_titles_units_dates_and_numbers_as_text(tmp_path: Path) -> None:
    path = workbook(
        tmp_path,
        ["Synthetic laboratory report"],
        ["taken", "pH", "chlorine"],
        [None, "s.u.", "mg/L"],
        [datetime(2026, 3, 10, 8, 15), 7.4, "0.95"],
        [datetime(2026, 3, 11), "7.50", "<0.02"],
    )
    export = read_export(path, ExportOptions(time_zone="UTC"))
    assert "1 title lines above the header were skipped: 'Synthetic laboratory report'" in export.told
    ph, chlorine = export.channels
    assert (ph.unit, ph.values.tolist(), ph.cell(1).text) == ("s.u.", [7.4, 7.5], "7.50")
    assert chlorine.cell(1).limit == 0.02
    assert ph.times.tolist() == [at("2026-03-10 08:15"), at("2026-03-11 00:00")]


def test_a_formula_without_a_stored_value_is_refused(tmp_path: Path) -> None:
    path = workbook(tmp_path, ["taken", "pH"], [datetime(2026, 3, 10, 8), "=3.7*2"])
    with pytest.raises(CorrectTheEntry) as caught:
        read_export(path, ExportOptions(time_zone="UTC"))
    assert caught.value.message == (
        "lab.xlsx, sheet 'Sheet', cell B2: it holds a formula whose value was not stored; open the workbook "
        "in a "
        "spreadsheet program, save it, and read it again."
    )


def test_a_sheet_that_is_not_there_is_refused(tmp_path: Path) -> None:
    path = workbook(tmp_path, ["taken", "pH"], [datetime(2026, 3, 10, 8), 7.4])
    with pytest.raises(CorrectTheEntry, match=r"lab\.xlsx has no sheet 'Results'; it has Sheet\."):
        read_export(path, ExportOptions(time_zone="UTC", sheet="Results"))
