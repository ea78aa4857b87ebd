"""Canonical bytes: RFC 8785, exact round trips, nothing that is no number."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given as any_of
from hypothesis import settings
from hypothesis import strategies as st

from wqverify.errors import CouldNotRun, ResultsDiffer
from wqverify.records.canonical import (
    canonical,
    digest,
    given_from,
    plain_from,
    record_from,
    record_to_bytes,
    result_from,
    to_plain,
)
from wqverify.terms import (
    Analyzer,
    BudgetLine,
    Chart,
    Check,
    Earlier,
    Entry,
    Given,
    Hop,
    Note,
    Outcome,
    Person,
    Previous,
    Quantity,
    Record,
    Result,
    SampleLine,
    Series,
    Site,
    Software,
    Standard,
    Tolerance,
    Value,
    Working,
)

# ---------------------------------------------------------------- canonical text


def test_the_example_of_rfc_8785_gives_the_bytes_printed_there() -> None:
    """RFC 8785, section 3.2.2 (input) and 3.2.4 (its UTF-8 bytes in hexadecimal)."""
    plain = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": '\u20ac$\u000f\nA\'B"\\\\"/',
        "literals": [None, True, False],
    }
    printed = """
        7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72
        75 65 2c 66 61 6c 73 65 5d 2c 22 6e 75 6d 62 65 72 73 22 3a
        5b 33 33 33 33 33 33 33 33 33 2e 33 33 33 33 33 33 33 2c 31
        65 2b 33 30 2c 34 2e 35 2c 30 2e 30 30 32 2c 31 65 2d 32 37
        5d 2c 22 73 74 72 69 6e 67 22 3a 22 e2 82 ac 24 5c 75 30 30
        30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c 22 2f 22 7d
    """
    assert canonical(plain) == bytes.fromhex(printed)


def test_keys_are_sorted_by_utf_16_not_by_code_point() -> None:
    """RFC 8785, section 3.2.3: a pair beginning with D83D comes before U+FFE5, whose code point is lower."""
    text = canonical({"\uffe5": 1, "\U0001f600": 2, "1": 3}).decode()
    assert text == '{"1":3,"\U0001f600":2,"\uffe5":1}'


def test_both_unicode_forms_of_a_text_give_the_same_bytes() -> None:
    composed, decomposed = {"name": "Béla"}, {"name": "Be\u0301la"}
    assert canonical(decomposed) == canonical(composed)
    assert "\u0301" not in canonical([decomposed, {"Be\u0301": ("e\u0301",)}]).decode()


def test_two_keys_that_become_the_same_text_are_refused() -> None:
    with pytest.raises(CouldNotRun, match="two keys are the same text"):
        canonical({"\u00e9": 1, "e\u0301": 2})


@pytest.mark.parametrize("number", [float("nan"), float("inf"), -float("inf"), 2**53])
def test_a_number_that_json_cannot_hold_is_refused(number: float) -> None:
    with pytest.raises(CouldNotRun, match=r"cannot be written down .* nothing was recorded"):
        canonical({"u": number})


def test_digest_is_sha256() -> None:
    """FIPS 180-4 example, message "abc"."""
    assert digest(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


# ---------------------------------------------------------------- dataclasses

TEXT = st.text('a7.-"\\/\n é°Ωž✓\U0001f600', max_size=6)  # all of it in form NFC
DECIMAL = st.decimals(min_value=-1000000, max_value=1000000, places=4, allow_nan=False)
NUMBER = st.floats(allow_nan=False, allow_infinity=False).map(lambda x: x + 0.0)  # JSON has one zero
OPTIONAL = st.none() | DECIMAL
TEXTS = st.dictionaries(TEXT, TEXT, max_size=3)


def tuples(strategy: st.SearchStrategy[object]) -> st.SearchStrategy[tuple[object, ...]]:
    return st.lists(strategy, max_size=2).map(tuple)


TOLERANCE = st.builds(
    Tolerance, unit=TEXT, source=TEXT, low=OPTIONAL, high=OPTIONAL, percent=OPTIONAL, date=TEXT
)
BUDGET = st.builds(
    BudgetLine, cause=TEXT, value=NUMBER, u=NUMBER, distribution=TEXT, dof=st.none() | NUMBER,
    sensitivity=NUMBER, contribution=NUMBER, size_from=TEXT, source=TEXT,
)  # fmt: skip
QUANTITY = st.builds(
    Quantity, text=TEXT, unit=TEXT, value=NUMBER, u=st.none() | NUMBER, budget=tuples(BUDGET)
)
CHECK = st.builds(
    Check, key=TEXT, stage=TEXT, label=TEXT, outcome=st.sampled_from(Outcome), reason=TEXT,
    quantity=st.none() | QUANTITY, tolerance=st.none() | TOLERANCE, counts=st.booleans(),
)  # fmt: skip
RESULT = st.builds(
    Result,
    checks=tuples(CHECK),
    values=tuples(st.builds(Value, key=TEXT, stage=TEXT, label=TEXT, quantity=QUANTITY)),
    workings=tuples(st.builds(Working, label=TEXT, formula=TEXT, put_in=TEXT, answer=TEXT)),
    notes=tuples(st.builds(Note, kind=st.just("caution"), text=TEXT)),
    charts=tuples(
        st.builds(
            Chart,
            kind=st.just("errors"),
            title=TEXT,
            x_label=TEXT,
            y_label=TEXT,
            series=tuples(st.builds(Series, name=TEXT, points=tuples(st.tuples(TEXT, TEXT, TEXT)))),
        )
    ),
)
ANALYZER = st.builds(
    Analyzer, tag=TEXT, serial=TEXT, kind=TEXT, measures=TEXT, unit=TEXT, low=DECIMAL, high=DECIMAL,
    location=TEXT, digit=OPTIONAL, tolerances=st.dictionaries(TEXT, TOLERANCE, max_size=2), settings=TEXTS,
    sample_line=st.none() | st.builds(SampleLine, bore_mm=DECIMAL, length_m=DECIMAL, flow_ml_min=DECIMAL),
    hops=tuples(st.builds(Hop, name=TEXT, low=OPTIONAL)),
    intervals_days=st.dictionaries(TEXT, st.integers(0, 4000), max_size=2),
)  # fmt: skip
STANDARD = st.builds(
    Standard, id=TEXT, kind=TEXT, name=TEXT, lot=TEXT, unit=TEXT, expanded=OPTIONAL,
    own=tuples(st.tuples(DECIMAL, DECIMAL)),
)  # fmt: skip
GIVEN = st.builds(
    Given,
    format=st.just(1),
    site=st.builds(Site, name=TEXT, time_zone=TEXT, retention_years=st.integers(0, 99)),
    analyzer=ANALYZER,
    standards=st.dictionaries(TEXT, STANDARD, max_size=2),
    people=st.dictionaries(TEXT, st.builds(Person, id=TEXT, name=TEXT, may_review=st.booleans()), max_size=2),
    times=TEXTS,
    earlier=tuples(st.builds(Earlier, number=TEXT, performed=TEXT, serial=TEXT, outcomes=TEXTS)),
)
SHEET = st.dictionaries(TEXT, st.recursive(TEXT, lambda inner: st.lists(inner, max_size=2), max_leaves=4))
RECORD = st.builds(
    Record, format=st.just(1), page=st.just(1), number=TEXT, visit_id=TEXT, procedure=TEXT, title=TEXT,
    revision=st.integers(1, 9), performed=TEXT, entered=TEXT, performed_by=TEXT, sheet=SHEET,
    entries=tuples(st.builds(Entry, path=TEXT, label=TEXT, text=TEXT, unit=TEXT)), cautions=st.just(()),
    given=GIVEN, result=RESULT, software=st.builds(Software, TEXT, TEXT, TEXT, TEXT, TEXT),
    previous=st.builds(Previous, TEXT, st.integers(0, 9), TEXT), attachments=TEXTS,
)  # fmt: skip

ROUND_TRIPS = settings(max_examples=40, deadline=None)


def exactly(one: Any) -> str:
    """Equal decimals may differ in their zeros and equal numbers in their type: this text may not."""
    return json.dumps(asdict(one), sort_keys=True, default=repr)


@ROUND_TRIPS
@any_of(RECORD)
def test_a_record_comes_back_exactly_and_its_bytes_stay_the_same(record: Record) -> None:
    data = record_to_bytes(record)
    again = record_from(data)
    assert again == record
    assert exactly(again) == exactly(record)
    assert record_to_bytes(again) == data
    assert plain_from(data) == json.loads(data)


@ROUND_TRIPS
@any_of(GIVEN, RESULT)
def test_given_and_result_come_back_exactly_through_plain_data(given: Given, result: Result) -> None:
    assert exactly(given_from(to_plain(given))) == exactly(given)
    assert exactly(result_from(to_plain(result))) == exactly(result)
    # Python would read a whole number above 2**53 as an exact integer, which no other reader of JSON does.
    assert to_plain(result) == json.loads(canonical(to_plain(result)), parse_int=float)


def small_result(value: float = 0.5, tolerance: Tolerance | None = None) -> Result:
    quantity = Quantity("0.50", "pH", value)
    return Result((Check("a", "as_found", "A", Outcome.FAIL, quantity=quantity, tolerance=tolerance),))


def test_decimals_keep_their_trailing_zeros_and_outcomes_their_words() -> None:
    tolerance = Tolerance("pH", "simple", "rule", "R1", low=Decimal("-0.10"), high=Decimal("0.10"))
    plain = to_plain(small_result(tolerance=tolerance))["checks"][0]
    assert (plain["tolerance"]["high"], plain["quantity"]["text"], plain["outcome"]) == (
        "0.10",
        "0.50",
        "fail",
    )
    back = result_from(to_plain(small_result(tolerance=tolerance))).checks[0]
    assert back.tolerance is not None
    assert str(back.tolerance.high) == "0.10"
    assert back.outcome is Outcome.FAIL


@pytest.mark.parametrize("number", [float("nan"), float("inf"), -float("inf")])
def test_a_computed_number_that_is_none_is_refused(number: float) -> None:
    with pytest.raises(CouldNotRun, match=r"A computed number is -?(nan|inf), which is no number"):
        to_plain(small_result(number))


def test_plain_data_of_another_shape_is_refused_with_the_place() -> None:
    plain = to_plain(small_result())
    del plain["checks"][0]["label"]
    with pytest.raises(ResultsDiffer, match=r"not a result .* \(checks\.0\.label: field required\)"):
        result_from(plain)
    plain["checks"][0] |= {"label": "A", "colour": "green"}
    with pytest.raises(ResultsDiffer, match=r"checks\.0\.colour: unexpected keyword argument"):
        result_from(plain)


@pytest.mark.parametrize("data", [b"", b"{}", b"null", b"{} , {}", b"\xff\xfe", b"[" * 3000])
def test_bytes_that_are_no_record_are_refused_in_one_sentence(data: bytes) -> None:
    with pytest.raises(ResultsDiffer, match="not a record that this version can read"):
        record_from(data)


def test_a_field_added_later_takes_its_default_when_an_old_record_is_read() -> None:
    plain = to_plain(small_result())
    del plain["charts"], plain["checks"][0]["information"]
    assert result_from(plain) == small_result()


def test_digest_of_canonical_bytes_needs_the_standard_library_only() -> None:
    data = canonical({"a": "é"})
    assert hashlib.sha256(data).hexdigest() == digest(data)
