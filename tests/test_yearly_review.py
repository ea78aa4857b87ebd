"""The yearly review of a pair: unsigned, honest about what it cannot show, the same in the notebook."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from clean_notebook import insist_on_clean, shipped_notebook
from scipy.stats import linregress

from wqverify.demo.yearly_pair import pair_csv
from wqverify.errors import ChooseAnother, CorrectTheEntry, WqverifyError
from wqverify.lists import review_shown
from wqverify.lists.review_charts import _moved_apart, difference_chart, pairs_chart
from wqverify.lists.review_shown import HEADINGS, section, title, words
from wqverify.lists.yearly_review import BOTH, DEMING, PASSING_BABLOK, THEIL_SEN, Review, open_review
from wqverify.records import notebook as run
from wqverify.shipped import shipped_folder
from wqverify.show.html import html
from wqverify.show.terminal import text

REDOX = "redundant_redox_10min.csv"
UTC = {"time_zone": "UTC"}


def written(
    folder: Path, a: Sequence[object], b: Sequence[object], again: Sequence[object] | None = None
) -> Path:
    """An export of two instruments (and second readings), every ten minutes; an empty text is missing."""
    rows = ["time,A,B" + (",A again" if again is not None else "")]
    for k, (one, other) in enumerate(zip(a, b, strict=True)):
        more = f",{again[k]}" if again is not None else ""
        rows.append(f"2026-01-{1 + k // 144:02d} {k % 144 // 6:02d}:{k % 6}0,{one},{other}{more}")
    path = folder / "pair.csv"
    path.write_text("\n".join([*rows, ""]), "utf-8")
    return path


def reviewed(path: Path, resolution: str = "0.01", **choices: Any) -> Review:
    return open_review("", str(path), "A", "B", resolution, UTC, choices)


def some(n: int, seed: int = 1) -> tuple[list[str], list[str]]:
    random = np.random.default_rng(seed)
    level = random.uniform(6.5, 8.5, n)
    return [f"{v:.2f}" for v in level], [
        f"{v + e:.2f}" for v, e in zip(level, random.normal(0, 0.02, n), strict=True)
    ]


def text_of(review: Review) -> str:
    blocks = [*title(review), *(block for heading in HEADINGS for block in section(review, heading))]
    return re.sub(r"<[^>]+>", " ", html(blocks, {}))


# ---------------------------------------------------------------- the shipped pair


def test_the_shipped_pair_is_the_one_that_is_generated() -> None:
    folder = shipped_folder("demo_runs") / "yearly_review"
    assert (folder / "pair.csv").read_text("utf-8") == pair_csv()


def test_without_a_file_the_synthetic_pair_is_reviewed_and_labelled() -> None:
    review = open_review()
    assert review.pair.synthetic
    assert review.refused == {}
    rows = [line.split(",") for line in pair_csv().splitlines()[1:]]
    a, again, b = (np.array([float(row[k]) for row in rows]) for k in (1, 2, 3))
    found = review.agreement
    assert (found.n, found.bias, found.sd) == pytest.approx(
        (104, (b - a).mean(), (b - a).std(ddof=1)), rel=1e-9
    )
    pooled = review.repeatability[review.pair.first].pooled
    assert pooled.s == pytest.approx(np.sqrt(((a - again) ** 2).sum() / 208), rel=1e-9)
    assert set(review.lines) == {DEMING, BOTH}
    assert set(review.rank_lines) == {PASSING_BABLOK, THEIL_SEN}
    # what the generator put in lies within the intervals: 0.03 at pH 7 and 5 % steep
    line = review.rank_lines[PASSING_BABLOK]
    assert line.slope_low is not None
    assert line.slope_high is not None
    assert line.slope_low <= Fraction(105, 100) <= line.slope_high
    shown = text_of(review)
    assert "Unsigned review" in shown
    assert "Synthetic data: an invented pair" in shown


# ---------------------------------------------------------------- a real pair


@pytest.fixture(scope="module")
def redox(real_data: Path) -> Review:
    """Two redox sensors in one tank, every 10 min for a month (source and licence: SOURCES.md)."""
    path = real_data / REDOX
    return open_review("", str(path), "redox_a_mV", "redox_b_mV", "0.5", UTC, {"u_first": 5, "u_second": 5})


def test_the_real_pair_has_the_figures_of_its_source(redox: Review) -> None:
    """SOURCES.md of the data: 3541 pairs, mean of b - a -0.055 mV, sd 13.90 mV."""
    found = redox.agreement
    assert found.n == 3541
    assert found.bias == pytest.approx(-0.055, abs=0.0005)
    assert found.sd == pytest.approx(13.90, abs=0.005)
    assert not redox.pair.synthetic


def test_the_real_pair_has_the_lines_of_others(redox: Review) -> None:
    """scipy for the trend, a principal axis for Deming; equal known uncertainties give Deming's line."""
    a, b = redox.pair.a, redox.pair.b
    theirs = linregress((a + b) / 2, b - a)
    assert redox.trend is not None
    assert (redox.trend.slope, redox.trend.p) == pytest.approx((theirs.slope, theirs.pvalue), rel=1e-6)
    _values, vectors = np.linalg.eigh(np.cov(a, b))
    axis = vectors[1, -1] / vectors[0, -1]
    assert redox.lines[DEMING].b == pytest.approx(axis, rel=1e-9)
    assert redox.lines[BOTH].b == pytest.approx(axis, rel=1e-9)
    # 13.90 mV of scatter against sqrt(5^2 + 5^2) mV that was told
    assert redox.lines[BOTH].residual_sd == pytest.approx(13.90 / 50**0.5, rel=0.02)


def test_the_real_pair_comes_with_its_warnings(redox: Review) -> None:
    said = " ".join(text for text, _source in words(redox))
    assert "the 3541 pairs are worth about" in said
    assert "The two correlate by 0.824, below 0.975" in said
    assert "pairs are few" not in said
    shown = text_of(redox)
    assert "3541, over 30 days" in shown
    assert "−27.292" in shown
    assert "Synthetic" not in shown


# ---------------------------------------------------------------- what a review is worth


@pytest.mark.parametrize(("n", "few"), [(39, True), (40, False), (41, False)])
def test_few_pairs_are_called_few(n: int, few: bool, tmp_path: Path) -> None:
    review = reviewed(written(tmp_path, *some(n)))
    said = [(text, source) for text, source in words(review) if "pairs are few" in text]
    assert bool(said) is few
    if few:
        assert said == [
            (
                "39 pairs are few: limits of agreement and lines from fewer than 40 pairs move from one "
                "review to the next by chance alone. Read the intervals, not the values.",
                "common practice, no source",
            )
        ]


@pytest.mark.parametrize(("r", "narrow"), [(0.9749, True), (0.975, False), (0.9751, False), (None, False)])
def test_a_narrow_range_is_called_narrow(r: float | None, narrow: bool, tmp_path: Path) -> None:
    review = reviewed(written(tmp_path, *some(50)))
    assert review.concordance is not None
    changed = None if r is None else replace(review.concordance, correlation=r)
    said = [text for text, _source in words(replace(review, concordance=changed)) if "below 0.975" in text]
    assert bool(said) is narrow


def test_neighbours_that_go_together_widen_the_interval_of_the_bias(tmp_path: Path) -> None:
    random = np.random.default_rng(6)
    level = random.uniform(6.5, 8.5, 300)
    drift = np.repeat(random.normal(0, 0.05, 30), 10)  # the difference stands for ten pairs
    path = written(tmp_path, [f"{v:.2f}" for v in level], [f"{v:.2f}" for v in level + drift])
    review = reviewed(path)
    assert review.correlation_of_neighbours > 0.8
    assert review.independent < 40
    shown = text_of(review)
    assert f"bias, of {review.independent:.0f} independent pairs" in shown
    independent = reviewed(written(tmp_path, *some(300)))
    assert independent.independent == 300
    assert "independent pairs" not in text_of(independent)


def test_a_gap_in_the_record_links_nothing(tmp_path: Path) -> None:
    a, b = some(6)
    a[3] = ""
    review = reviewed(written(tmp_path, a, b))
    assert review.pair.follows.tolist() == [True, True, False, True]
    assert review.pair.alone == (0, 1)
    assert "0 of the first, 1 of the second" in text_of(review)


def test_steps_that_make_slopes_tie_are_said(tmp_path: Path) -> None:
    random = np.random.default_rng(2)
    level = random.integers(700, 720, 400)
    path = written(
        tmp_path,
        [f"{v / 100:.2f}" for v in level],
        [f"{(v + e) / 100:.2f}" for v, e in zip(level, random.integers(0, 2, 400), strict=True)],
    )
    review = reviewed(path)
    line = review.rank_lines[PASSING_BABLOK]
    assert line.slope_low == line.slope_high == 1
    said = [text for text, _source in words(review) if "has no width" in text]
    assert said[0].startswith(
        "The interval of Passing-Bablok has no width: the steps of 0.01 make its slopes"
    )


def test_what_one_method_cannot_do_leaves_the_others(tmp_path: Path) -> None:
    """An analyzer stuck at one value: bias and limits stand, the rest says why not."""
    a, _b = some(50)
    review = reviewed(written(tmp_path, ["7.00"] * 50, a))
    assert review.agreement.n == 50
    assert review.concordance is None
    assert review.lines == {}
    assert review.rank_lines == {}
    assert set(review.refused) == {"Concordance", DEMING, PASSING_BABLOK, THEIL_SEN}
    shown = text_of(review)
    assert "One of the instruments shows a single value" in shown
    assert "The middle slope is vertical or falls" in shown
    for picture in (difference_chart(review), pairs_chart(review)):
        ElementTree.fromstring(picture)


def test_edges_that_do_not_rise_leave_the_rest(tmp_path: Path) -> None:
    a, b = some(50)
    review = reviewed(written(tmp_path, a, b, again=a), first_again="A again", edges=[8, 7])
    assert review.repeatability == {}
    assert review.refused == {"A": "The edges 8, 7 do not rise; type them from low to high."}


def test_sections_are_known_and_an_empty_one_says_so(tmp_path: Path) -> None:
    review = reviewed(written(tmp_path, *some(50)))
    assert "None." in text_of(review)
    with pytest.raises(KeyError):
        section(review, "Lines")
    assert "Theil-Sen" in text(section(review, review_shown.LINES), 100)


# ---------------------------------------------------------------- what is refused


def test_what_cannot_be_reviewed_is_refused_in_a_sentence(tmp_path: Path) -> None:
    a, b = some(50)
    path = str(written(tmp_path, a, b))
    for told, said in (
        (
            ("", "gone.csv", "A", "B", "0.01"),
            r"There is no file gone\.csv in .*; name an export that is there",
        ),
        (("", path, "A", "A", "0.01"), r"Both instruments are the channel A; name two channels of pair\.csv"),
        (("", path, "", "", "0.01"), r"Both instruments are the channel \(none\)"),
        (("", path, "A", "C", "0.01"), r"pair\.csv has no channel C; it has A, B"),
        (("", path, "A", "", "0.01"), r"pair\.csv has no channel \(none named\)"),
        (
            ("", path, "A", "B", ""),
            "The resolution is missing; type the smallest step of the record, as 0.01",
        ),
        (("", path, "A", "B", "small"), "small"),
        (("", path, "A", "B", "0"), "A resolution of 0 has no steps"),
        (("", path, "A", "B", "0.5"), r"The value \d.\d+ is no whole number of steps of 0.5; type"),
    ):
        with pytest.raises(CorrectTheEntry, match=said):
            open_review(*told, UTC)


def test_two_channels_without_a_common_moment_are_refused(tmp_path: Path) -> None:
    path = written(tmp_path, ["7.00", "", "7.10", ""], ["", "7.00", "", "7.10"])
    with pytest.raises(
        ChooseAnother, match=r"A and B have no value at the same moment in pair\.csv; export both"
    ):
        reviewed(path)


def test_too_few_pairs_are_refused(tmp_path: Path) -> None:
    path = written(tmp_path, ["7.00", "7.10"], ["7.00", "7.10"])
    with pytest.raises(
        ChooseAnother, match="2 pairs of values are too few for a comparison; at least 3 are needed"
    ):
        reviewed(path)
    three = reviewed(written(tmp_path, ["7.00", "7.10", "7.30"], ["7.00", "7.10", "7.20"]))
    assert three.agreement.n == 3


@pytest.mark.parametrize(
    ("choices", "said"),
    [
        ({"edge": [7]}, "A review has no choice edge; it has first_again, second_again, edges"),
        ({"first_again": 7}, "The choice first_again is 7; it is a text"),
        ({"edges": "7"}, "The choice edges is '7'; it is a list of numbers"),
        ({"edges": [True]}, r"The choice edges is \[True\]; it is a list of numbers"),
        ({"u_first": -0.1}, "The choice u_first is -0.1; it is a number of 0 or more"),
        ({"u_first": float("nan")}, "The choice u_first is nan; it is a number of 0 or more"),
        ({"ratio": 0}, "The choice ratio is above 0 and the choice level between 0 and 1"),
        ({"level": 1}, "The choice ratio is above 0 and the choice level between 0 and 1"),
        ({"second_again": "C"}, r"pair\.csv has no channel C"),
    ],
)
def test_choices_that_do_not_fit_are_refused(choices: dict[str, Any], said: str, tmp_path: Path) -> None:
    with pytest.raises(CorrectTheEntry, match=said):
        reviewed(written(tmp_path, *some(50)), **choices)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"time\n",
        b"time,A,B\nsoon,7.00,7.00\n",
        b"time,A,B\n2026-01-01 00:00,7.00\n",
        b"\xff\xfe\x00PDF",
        b"\x00",
    ],
)
def test_what_is_no_export_is_refused_without_a_traceback(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "pair.csv"
    path.write_bytes(content)
    with pytest.raises(WqverifyError) as refused:
        reviewed(path)
    assert "pair.csv" in str(refused.value)


def test_an_option_of_exports_that_is_not_known_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CorrectTheEntry, match="zone"):
        open_review("", str(written(tmp_path, *some(50))), "A", "B", "0.01", {"zone": "UTC"})


def test_a_file_of_a_plant_is_in_its_trends(tmp_path: Path) -> None:
    (tmp_path / "trends").mkdir()
    written(tmp_path / "trends", *some(50))
    review = open_review(str(tmp_path), "pair.csv", "A", "B", "0.01", UTC)
    assert review.agreement.n == 50
    assert review.pair.resolution == Decimal("0.01")


def test_what_the_plant_tells_of_its_exports_counts_and_the_review_may_tell_otherwise(tmp_path: Path) -> None:
    trends = tmp_path / "trends"
    trends.mkdir()
    written(trends, *some(50))
    (trends / "exports.toml").write_text(
        '[[export]]\nfiles = "p*.csv"\ntime_zone = "-05:00"\nmissing = ["7.00"]\n', "utf-8"
    )
    plain = open_review(str(tmp_path), "pair.csv", "A", "B", "0.01", {"missing": []})
    moved = open_review(str(tmp_path), "pair.csv", "A", "B", "0.01", UTC | {"missing": []})
    assert list(plain.pair.times - moved.pair.times) == [5 * 3600] * 50


def test_flagged_values_are_left_out_and_said(tmp_path: Path) -> None:
    rows = [
        f"2026-01-01 {hour:02d}:{minute:02d},7.{minute},7.{minute},{'' if minute else 'CAL'}"
        for hour in range(10)
        for minute in (0, 10, 20, 30, 40)
    ]
    path = tmp_path / "pair.csv"
    path.write_text("time,A,B,B_flag\n" + "\n".join(rows) + "\n", "utf-8")
    review = open_review("", str(path), "A", "B", "0.01", UTC)
    assert review.agreement.n == 40
    assert "B: 10 flagged values were left out of the comparison." in review.pair.told


@pytest.mark.parametrize("choices", [{"u_first": 0.02}, {"u_second_percent": 2.0, "u_first": 0.1}])
def test_a_line_with_errors_in_both_needs_an_uncertainty_of_every_value(
    tmp_path: Path, choices: dict[str, float]
) -> None:
    a, b = some(50)
    found = reviewed(written(tmp_path, a, ["0.00", *b[1:]]), **choices)
    count = 50 if "u_second_percent" not in choices else 1
    assert found.refused["Errors in both"] == (
        f"{count} of 50 values of B have no uncertainty; give u_second above 0, not only a percent where a "
        f"value is 0."
    )
    assert "Errors in both" not in found.lines
    assert "Deming" in found.lines


def test_a_file_of_a_plant_is_named_alone(tmp_path: Path) -> None:
    with pytest.raises(CorrectTheEntry, match=r"'\.\./\.\./pair\.csv' is no file name; an export of a plant"):
        open_review(str(tmp_path), "../../pair.csv", "A", "B", "0.01", UTC)


# ---------------------------------------------------------------- charts


def test_charts_are_the_same_every_time_and_ink_only(redox: Review) -> None:
    for review in (open_review(), redox):
        for draw in (difference_chart, pairs_chart):
            svg = draw(review)
            assert svg == draw(review)
            ElementTree.fromstring(svg)
            colours = set(re.findall(rb"#([0-9a-f]{6})", svg))
            assert colours
            assert all(c[:2] == c[2:4] == c[4:] for c in colours), "a grey has three equal parts"


@pytest.mark.parametrize(
    ("wanted", "placed"),
    [
        ([0.0, 50.0], [0.0, 50.0]),
        ([0.0, 10.0], [0.0, 10.0]),
        ([0.0, 9.0], [-0.5, 9.5]),
        ([20.0, 20.0, 20.0], [10.0, 20.0, 30.0]),
        ([0.0, 12.0, 13.0], [-1.6667, 8.3333, 18.3333]),
        ([], []),
    ],
)
def test_labels_in_the_margin_do_not_touch(wanted: list[float], placed: list[float]) -> None:
    """A label is 10 points high: further apart, just apart, touching, all at one place, a chain, none."""
    assert _moved_apart(wanted) == pytest.approx(placed, abs=1e-3)


# ---------------------------------------------------------------- the notebook


def test_the_notebook_is_stored_clean_and_computes_nothing() -> None:
    whole = insist_on_clean(shipped_notebook("yearly_review"), HEADINGS)
    asked = re.findall(r'show\(review, ("[^)]*")\)', whole)
    assert [name for one in asked for name in re.findall('"([^"]+)"', one)] == list(HEADINGS)


def shown_by(parameters: dict[str, Any]) -> str:
    run.refuse_other_than_plain(parameters)
    executed = run._papermill(shipped_folder("notebooks") / "yearly_review.ipynb", parameters)
    outputs = [o.get("data", {}) for c in executed.cells if c.cell_type == "code" for o in c.outputs]
    assert len([o for o in outputs if "image/svg+xml" in o]) == 2
    return json.dumps([o.get("text/html", "") for o in outputs], ensure_ascii=False)


@pytest.mark.slow
def test_the_notebook_shows_the_shipped_pair_without_parameters() -> None:
    shown = shown_by({})
    assert "Unsigned review" in shown
    assert "Synthetic data: an invented pair" in shown


@pytest.mark.slow
def test_the_notebook_shows_the_real_pair(real_data: Path, redox: Review) -> None:
    parameters = {
        "file": str((real_data / REDOX).resolve()),
        "first": "redox_a_mV",
        "second": "redox_b_mV",
        "resolution": "0.5",
        "export": UTC,
        "choices": {"u_first": 5, "u_second": 5},
    }
    shown = shown_by(parameters)
    assert "Unsigned review" in shown
    assert "3541, over 30 days" in shown
    assert review_shown._value(redox, redox.agreement.bias) in shown
    assert "Synthetic" not in shown
