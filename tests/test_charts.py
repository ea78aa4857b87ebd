"""Charts: the same bytes everywhere, legible in ink, no word of the data taken for a formula."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from example_record import chart

from wqverify.show.charts import chart_svg
from wqverify.terms import Chart, Line, Series

SVG = "{http://www.w3.org/2000/svg}"
STAGES = ("as found", "after cleaning", "as left")


def errors(points: int, *, equal: bool = False, series: int = 3) -> Chart:
    """A chart of errors with so many points in each of so many series."""
    rows = tuple(
        (str(2 + n), "0.03" if equal else f"{0.03 * (n % 3 - 1):.2f}", "0.02") for n in range(points)
    )
    return replace(chart(), series=tuple(Series(name, rows) for name in STAGES[:series]))


def trace(points: int) -> Chart:
    rows = tuple((f"2026-03-03T08:{15 + n}:00-06:00", f"{7 + n / 100:.2f}", "") for n in range(points))
    series = (Series("display", rows), Series("control system", rows))
    return Chart("trace", "Signal at both ends", "time", "pH", series, (Line("alarm high", "7.5"),))


def pairs(points: int) -> Chart:
    rows = tuple((f"{7 + n / 10:.1f}", f"{7.02 + n / 10:.2f}", "0.07") for n in range(points))
    return Chart("pairs", "Display against grab", "grab, pH", "display, pH", (Series("grab samples", rows),))


EVERY = {
    **{f"errors, {n} points": errors(n) for n in range(1, 9)},
    **{f"errors, {n} equal points": errors(n, equal=True) for n in (1, 2, 8)},
    **{f"trace, {n} points": trace(n) for n in (1, 2, 8, 40)},
    **{f"samples, {n} points": replace(trace(n), kind="samples") for n in (1, 2, 40)},
    **{f"pairs, {n} points": pairs(n) for n in (1, 2, 8)},
}


@pytest.mark.parametrize("name", EVERY)
def test_every_number_of_points_gives_a_picture_inside_its_frame(name: str) -> None:
    """From one point to eight, equal or not: well-formed, and no mark lies outside the picture."""
    root = ElementTree.fromstring(chart_svg(EVERY[name]))
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    marks = [
        (float(use.attrib["x"]), float(use.attrib["y"]))
        for use in root.iter(f"{SVG}use")
        if "x" in use.attrib
    ]
    assert marks
    assert all(0 <= x <= width and 0 <= y <= height for x, y in marks)


def test_the_same_chart_gives_the_same_bytes_in_another_place(tmp_path: Path) -> None:
    """Time zone, language, folder and hash seed of the process do not matter."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); from test_charts import EVERY\n"
        "from wqverify.show.charts import chart_svg\n"
        "import hashlib; [print(hashlib.sha256(chart_svg(c)).hexdigest()) for c in EVERY.values()]"
    )
    made = [
        subprocess.run(
            [sys.executable, "-c", code, str(Path(__file__).parent)],
            env={**os.environ, "TZ": zone, "LANG": lang, "LC_ALL": lang, "PYTHONHASHSEED": seed},
            cwd=folder, capture_output=True, text=True, check=True,
        ).stdout
        for zone, lang, seed, folder in (("UTC", "C", "1", tmp_path), ("Asia/Tokyo", "C.UTF-8", "2", "/"))
    ]  # fmt: skip
    assert made[0] == made[1]
    assert len(made[0].split()) == len(EVERY)


def test_drawing_again_in_the_same_process_gives_the_same_bytes() -> None:
    assert chart_svg(chart()) == chart_svg(chart())


@pytest.mark.parametrize("words", ["$x$and$", "*bold*#panic()", "<b>&amp;]]>", "50%\\frac{1}{2}"])
def test_words_of_the_data_are_drawn_as_they_are(words: str) -> None:
    """A dollar sign starts no formula, an angle bracket no element: as many glyphs as letters, everywhere."""

    def glyphs(text: str) -> int:
        lines, series = (Line(text, "0.10"),), tuple(replace(s, name=text) for s in errors(2).series)
        named = Chart("errors", text, text, text, series, lines)
        return len(re.findall(r'<use xlink:href="#DejaVuSans-', chart_svg(named).decode()))

    assert glyphs(words) == glyphs("n" * len(words))


def test_a_letter_that_the_font_lacks_is_shown_by_its_code() -> None:
    """It neither vanishes nor warns: 漢 stands as [U+6F22]."""
    assert chart_svg(replace(chart(), title="漢")) == chart_svg(replace(chart(), title="[U+6F22]"))


def test_a_point_without_uncertainty_has_no_bar() -> None:
    """No U is not a U of zero: without U there is no bar, with U there is one per point."""
    bare = replace(chart(), series=(Series("as found", (("7", "0.01", ""),)),))
    sure = replace(chart(), series=(Series("as found", (("7", "0.01", "0.02"),)),))
    assert chart_svg(sure).count(b"LineCollection") == chart_svg(bare).count(b"LineCollection")
    assert chart_svg(sure).count(b"<use") > chart_svg(bare).count(b"<use")


def test_separate_samples_are_not_joined() -> None:
    """A trace goes from point to point; of samples taken one by one nothing is said in between."""
    joined = re.compile(r'd="(?:M [\d. -]+\s+)(?:L [\d. -]+\s+){4,}"')  # a line through five points and more
    assert joined.search(chart_svg(trace(8)).decode())
    assert not joined.search(chart_svg(replace(trace(8), kind="samples")).decode())


def test_x_texts_that_are_no_numbers_stand_in_their_order() -> None:
    """Points named in words are placed one after the other, with their names below."""
    named = replace(chart(), series=(Series("as found", (("zero air", "0.1", ""), ("span", "-0.2", "0.1"))),))
    assert b'id="xtick_2"' in chart_svg(named)
    assert b'id="xtick_3"' not in chart_svg(named)


def test_text_is_drawn_as_paths_so_that_no_font_of_the_reader_matters() -> None:
    svg = chart_svg(chart()).decode()
    assert "<text" not in svg
    assert "font-family" not in svg


def test_nothing_depends_on_colour() -> None:
    """Every colour in the picture is a grey: it survives a black-and-white printer."""
    svg = chart_svg(errors(4)).decode()
    colours = set(re.findall(r"#[0-9a-f]{6}\b", svg))
    assert colours
    assert all(c[1:3] == c[3:5] == c[5:7] for c in colours)


def test_series_differ_by_the_shape_of_their_marks() -> None:
    """Three stages, three shapes: as many different marks as series, beside those of the axes and bars."""
    one, three = _shapes(errors(2, series=1)), _shapes(errors(2, series=3))
    assert len(three) == len(one) + 2


def _shapes(what: Chart) -> set[str]:
    root = ElementTree.fromstring(chart_svg(what))
    kept = [path for defs in root.iter(f"{SVG}defs") for path in defs.iter(f"{SVG}path")]
    return {path.attrib["d"] for path in kept if "style" in path.attrib}


def test_a_limit_is_drawn_inside_the_picture_even_far_from_the_points() -> None:
    """A tolerance of 5 around errors of 0.03 is shown, not cut off."""
    far = replace(errors(2), lines=(Line("tolerance +5", "5"), Line("tolerance -5", "-5")))
    root = ElementTree.fromstring(chart_svg(far))
    height = float(root.attrib["viewBox"].split()[3])
    dashed = [
        p.attrib["d"] for p in root.iter(f"{SVG}path") if "stroke-dasharray" in p.attrib.get("style", "")
    ]
    assert len(dashed) == 2
    assert all(0 < float(n) < height for d in dashed for n in re.findall(r"[ML] [\d.-]+ ([\d.-]+)", d))


def test_a_chart_does_not_say_when_it_was_drawn() -> None:
    svg = chart_svg(chart()).decode()
    assert "dc:date" not in svg
    assert "<dc:title>wqverify</dc:title>" in svg


def test_long_names_of_series_do_not_squeeze_the_chart() -> None:
    """The last point of four long-named series lies where that of one short-named series does."""

    def last_mark(*names: str) -> float:
        rows = (("1", "0.02", ""), ("2", "0.00", ""))
        drawn = Chart("trace", "t", "reading", "pH", tuple(Series(name, rows) for name in names))
        uses = ElementTree.fromstring(chart_svg(drawn)).iter(f"{SVG}use")
        return max(float(use.attrib["x"]) for use in uses if "x" in use.attrib)

    long = [f"after cleaning, B10-118{n}, and 1 alike" for n in range(4)]
    assert last_mark(*long) == pytest.approx(last_mark("a"), abs=1)
