"""Reading a field sheet: whatever is wrong is said in one plain sentence with file and line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wqverify.errors import CorrectTheEntry
from wqverify.procedures import PROCEDURES
from wqverify.procedures.sheets import parse, read_sheet
from wqverify.shipped import shipped_folder

PH = PROCEDURES["ph_calibration"]
SHEET = (shipped_folder("demo_runs") / "ph_calibration" / "visit.toml").read_text("utf-8")


def refused(tmp_path: Path, text: str | bytes) -> str:
    path = tmp_path / "visit.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    with pytest.raises(CorrectTheEntry) as caught:
        read_and_parse(path)
    return caught.value.message


def read_and_parse(path: Path) -> Any:
    raw, document = read_sheet(path)
    return parse(PH, raw, document)


def changed(old: str, new: str) -> str:
    assert old in SHEET
    return SHEET.replace(old, new, 1)


def line_of(text: str, part: str) -> int:
    return text[: text.index(part)].count("\n") + 1


def test_the_shipped_sheet_is_read_as_typed(tmp_path: Path) -> None:
    path = tmp_path / "visit.toml"
    path.write_text(SHEET, "utf-8")
    raw, document = read_sheet(path)
    sheet = parse(PH, raw, document)
    assert sheet.as_found.points[1].last.text == "10.02"
    assert raw["as_found"]["points"][0]["readings"] == ["7.08", "7.07", "7.06", "7.06"]
    assert document.where(("tag",)) == f"visit.toml, line {line_of(SHEET, 'tag = ')}"


def test_a_misspelt_key_is_named_with_the_nearest_one(tmp_path: Path) -> None:
    text = changed('reason = "routine"', 'resaon = "routine"')
    said = refused(tmp_path, text)
    assert (
        f"visit.toml, line {line_of(text, 'resaon')}: resaon is not known here; did you mean reason?" in said
    )
    assert "reason is missing; add it." in said


def test_a_misspelt_key_of_a_point_is_named_with_its_line(tmp_path: Path) -> None:
    text = changed('temperature_c = "18.4"\nreadings', 'temprature_c = "18.4"\nreadings')
    said = refused(tmp_path, text)
    line = line_of(text, "temprature_c")
    assert said == (f"visit.toml, line {line}: temprature_c is not known here; did you mean temperature_c?")


def test_a_missing_stage_is_named(tmp_path: Path) -> None:
    head, _, tail = SHEET.partition("[[as_left.points]]")
    _, _, tail = tail.partition("[check_buffer]")
    assert refused(tmp_path, head + "[check_buffer]" + tail).endswith("as_left is missing; add it.")


def test_a_key_given_twice_is_named_with_both_places(tmp_path: Path) -> None:
    text = changed('tag = "AIT-2101"', 'tag = "AIT-2101"\ntag = "AIT-2102"')
    first = line_of(text, "tag = ")
    assert refused(tmp_path, text) == (
        f"visit.toml, line {first + 1}: tag is given twice (first on line {first}); keep one."
    )


def test_a_number_without_quotes_would_lose_its_zeros_and_is_refused(tmp_path: Path) -> None:
    text = changed('ph = "7.60"', "ph = 7.60")
    said = refused(tmp_path, text)
    assert said == (
        f'visit.toml, line {line_of(text, "ph = 7.60")}: ph is written without quotes; write "7.60" in '
        "double "
        f"quotes."
    )


@pytest.mark.parametrize("typed", ["7,05", "7.0O", "７.06", "1e3", "nan", "1" * 5000])
def test_a_reading_that_is_none_is_named_with_its_line(tmp_path: Path, typed: str) -> None:
    text = changed('["7.03", "7.03", "7.03"]', f'["7.03", "{typed}", "7.03"]')
    said = refused(tmp_path, text)
    line = line_of(text, '["7.03", "')
    assert said.startswith(f"visit.toml, line {line}: item 2 of readings: '")
    assert "is not a reading such as 7.05" in said
    assert "\n" not in said


def test_all_mistakes_are_told_at_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    text = changed('started = "08:10"', 'started = "8:10"').replace('ph = "7.60"', 'ph = "7,60"')
    first, second = refused(tmp_path, text).split("\n")
    assert "started: '8:10' is not a time" in first
    assert "ph: '7,60' is not a reading" in second


def test_a_sheet_larger_than_64_kb_is_refused(tmp_path: Path) -> None:
    said = refused(tmp_path, SHEET + "#" * 65536)
    assert said == "visit.toml is larger than 64 kB, the most that is read; is it the right file?"


def test_bytes_that_are_not_utf8_are_named_with_their_line(tmp_path: Path) -> None:
    assert refused(tmp_path, b'tag = "AIT-2101"\nremarks = "5 \xb0C"\n') == (
        "visit.toml, line 2: byte 0xb0 is not UTF-8 text; save the file with the encoding UTF-8."
    )


def test_decisions_and_adjustments_must_fit(tmp_path: Path) -> None:
    said = refused(tmp_path, changed('action = "two-point"', 'action = "leave alone"'))
    assert said.endswith(
        "adjusted holds what was changed, and the decision is to leave it alone or is missing; enter the "
        'decision, or adjusted.not_done = "because ..."'
    )
    head, _, tail = SHEET.partition("[adjusted]")
    tail = "[[as_left.points]]" + tail.partition("[[as_left.points]]")[2]
    assert "the decision is two-point and adjusted is missing" in refused(tmp_path, head + tail)


def raw_sheet() -> dict[str, Any]:
    import tomllib

    return tomllib.loads(SHEET)


def test_as_left_cannot_be_as_found_once_it_was_cleaned_or_adjusted() -> None:
    raw = raw_sheet()
    raw["as_left"] = {"same_as": "as_found"}
    with pytest.raises(CorrectTheEntry, match="as_left cannot be the same as as_found: it was adjusted"):
        parse(PH, raw)
    raw["adjusted"] = {"not_done": "in tolerance after cleaning"}
    with pytest.raises(CorrectTheEntry, match='it was cleaned since; write same_as = "after_cleaning"'):
        parse(PH, raw)
    raw["as_left"] = {"same_as": "after_cleaning"}
    parse(PH, raw)
    raw["after_cleaning"] = {"not_done": "no time"}
    with pytest.raises(CorrectTheEntry, match="as_left is the same as after_cleaning, which was not done"):
        parse(PH, raw)


def test_readings_after_cleaning_need_to_say_how_it_was_cleaned() -> None:
    raw = raw_sheet()
    raw["cleaned"] = {"not_done": "forgot"}
    with pytest.raises(CorrectTheEntry, match="cleaned does not say how it was cleaned"):
        parse(PH, raw)


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=40))
def test_any_text_as_a_reading_is_kept_exactly_or_refused_in_words(text: str) -> None:
    raw = raw_sheet()
    raw["as_found"]["points"][0]["readings"] = [text]
    sheet, said = taken_or_told(raw)
    if sheet is None:
        assert "is not a reading such as 7.05" in said or "carries a unit" in said
    else:
        assert sheet.as_found.points[0].last.text == text
        assert text.isascii()


def taken_or_told(raw: dict[str, Any]) -> tuple[Any, str]:
    try:
        return parse(PH, raw), ""
    except CorrectTheEntry as problem:
        return None, problem.message


_JSON = st.recursive(
    st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(sorted(raw_sheet())), _JSON)
def test_any_shape_in_place_of_a_part_is_taken_or_refused_never_a_crash(key: str, value: Any) -> None:
    raw = raw_sheet()
    raw[key] = value
    sheet, said = taken_or_told(raw)
    assert sheet is not None or said.strip()
