"""Published tables: figures as printed, descriptions complete, nothing extrapolated, nothing edited."""

from __future__ import annotations

import csv
import hashlib
import math
import shutil
import tomllib
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pytest

from wqverify import tables
from wqverify.errors import ChooseAnother, CorrectTheEntry, ResultsDiffer
from wqverify.shipped import shipped_folder

IUPAC = ("ph_buffers_reference", "IUPAC 2002")
TRADE = ("ph_buffers_ready_made", "trade 1")
HJ = ("ph_buffers_hj1147", "HJ 1147-2020")
JIS = ("ph_buffers_jis_z8802", "JIS Z 8802")
NERNST = ("nernst_slope", "SI 2019")
REPORTING = ("turbidity_reporting", "EPA 180.1 rev 2.0")  # steps by band: nothing lies between its rows
KCL = ("conductivity_kcl", "IUPAC 2001")  # to six figures: curved in its last digits, decimals by size
CONDUCTIVITY = ("conductivity_ready_made", "trade 1")
F25 = ("conductivity_f25", "ISO 7888:1985")

COLUMNS = [
    pytest.param(edition, column, id=f"{edition[0]}-{column}")
    for edition in tables.names()
    for column in tables.load(*edition).columns
    if edition != REPORTING
]


def at(edition: tuple[str, str], column: str, temperature: str) -> Decimal:
    return tables.load(*edition).at(column, Decimal(temperature))


# ---------------------------------------------------------------- figures from outside


@pytest.mark.parametrize(
    ("edition", "column", "temperature", "printed"),
    [
        # IUPAC Recommendations 2002, Pure Appl. Chem. 74(11) 2169-2200, Tables 2 and 4
        (IUPAC, "phthalate", "25", "4.005"),
        (IUPAC, "phosphate 1:1", "25", "6.865"),
        (IUPAC, "borax", "25", "9.180"),
        (IUPAC, "carbonate", "25", "10.012"),
        (IUPAC, "phosphate 1:1", "10", "6.923"),
        (IUPAC, "phosphate 1:1", "35", "6.844"),
        (IUPAC, "citrate", "25", "3.776"),  # also NBS 1969, abstract
        (IUPAC, "phthalate", "0", "4.000"),
        (IUPAC, "phthalate", "50", "4.050"),
        # ready-made buffers, general trade data, three public tables
        (TRADE, "7.00", "10", "7.06"),
        (TRADE, "10.01", "10", "10.18"),
        # HJ 1147-2020, buffer table
        (HJ, "phthalate", "0", "4.006"),
        (HJ, "phthalate", "50", "4.055"),
        # JIS Z 8802
        (JIS, "carbonate", "25", "10.02"),
        # Pratt and others, Pure Appl. Chem. 73 (2001) 1783, conductivity by molality
        (KCL, "0.01 m", "25", "1408.23"),  # also from memory
        (KCL, "0.01 m", "20", "1273.03"),
        (KCL, "0.1 m", "25", "12824.6"),
        (KCL, "1.0 m", "0", "63488"),
        # ready-made conductivity standards, general trade data, one public table
        (CONDUCTIVITY, "1413", "20", "1278"),
        (CONDUCTIVITY, "12880", "20", "11670"),
        (CONDUCTIVITY, "84", "20", "75.80"),
        # ISO 7888:1985, factors f25
        (F25, "f25", "0", "1.918"),
        (F25, "f25", "10", "1.428"),
        (F25, "f25", "35", "0.822"),
        # ln(10) R T / F, constants of the 2019 SI
        (NERNST, "nernst slope", "0", "54.1988"),
        (NERNST, "nernst slope", "25", "59.1593"),
        (NERNST, "nernst slope", "50", "64.1199"),
    ],
)
def test_a_printed_point_is_given_exactly_as_printed(
    edition: tuple[str, str], column: str, temperature: str, printed: str
) -> None:
    assert at(edition, column, temperature) == Decimal(printed)


def test_the_worked_example_of_the_uncertainty_budget_ends_after_four_decimals() -> None:
    # straight between 7.04 (15 °C) and 7.02 (20 °C), 10.12 and 10.06: by hand 7.0264 and 10.0792 at 18.4 °C
    assert str(at(TRADE, "7.00", "18.4")) == "7.0264"
    assert str(at(TRADE, "10.01", "18.4")) == "10.0792"


# Table in 1 °C steps of one public copy of the NBS scale; interpolating the 5 °C table is known to
# reproduce it within 0.0013 from 18 to 30 °C.
ONE_DEGREE = {
    "phthalate": "3.999 4.000 4.001 4.001 4.002 4.003 4.004 4.005 4.006 4.007 4.008 4.009 4.011",
    "phosphate 1:1": "6.888 6.884 6.881 6.877 6.874 6.871 6.868 6.865 6.862 6.860 6.857 6.855 6.853",
    "borax": "9.245 9.235 9.225 9.216 9.207 9.197 9.189 9.180 9.171 9.163 9.155 9.147 9.139",
    "carbonate": "10.084 10.073 10.062 10.052 10.042 10.032 10.022 10.012 10.002 9.993 9.984 9.975 9.966",
    "calcium hydroxide": (
        "12.699 12.663 12.627 12.592 12.557 12.522 12.488 12.454 12.420 12.387 12.354 12.322 12.289"
    ),
}


@pytest.mark.parametrize("column", ONE_DEGREE)
def test_interpolation_reproduces_the_table_in_steps_of_one_degree(column: str) -> None:
    for temperature, printed in enumerate(ONE_DEGREE[column].split(), start=18):
        assert abs(at(IUPAC, column, str(temperature)) - Decimal(printed)) <= Decimal("0.0013")


def test_interpolation_reproduces_the_row_that_was_left_out() -> None:
    # IUPAC 2002, row at 37 °C; calcium hydroxide from the public copy (the document's figure is in doubt)
    row = {
        "tetroxalate": "1.691", "tartrate": "3.548", "citrate": "3.756", "phthalate": "4.022",
        "phosphate 1:1": "6.841", "phosphate 1:3.5": "7.386", "borax": "9.088", "carbonate": "9.910",
        "calcium hydroxide": "12.072",
    }  # fmt: skip
    for column, printed in row.items():
        assert abs(at(IUPAC, column, "37") - Decimal(printed)) <= Decimal("0.0015"), column


LARGEST_DIFFERENCES = [
    # computed from the two printed tables over 0 to 50 °C; the descriptions state the same figures
    (HJ, "tetroxalate", "0.002"),
    (HJ, "phthalate", "0.006"),
    (HJ, "phosphate 1:1", "0.003"),
    (HJ, "borax", "0.006"),
    (HJ, "calcium hydroxide", "0.013"),
    (JIS, "phthalate", "0.012"),
]


def difference(edition: tuple[str, str], column: str) -> dict[Decimal, Decimal]:
    reference = dict(tables.load(*IUPAC).nodes(column))
    other = dict(tables.load(*edition).nodes(column))
    return {x: abs(other[x] - reference[x]) for x in reference if x in other}


@pytest.mark.parametrize(("edition", "column", "largest"), LARGEST_DIFFERENCES)
def test_authorities_differ_by_what_the_descriptions_say(
    edition: tuple[str, str], column: str, largest: str
) -> None:
    assert max(difference(edition, column).values()) == Decimal(largest)


@pytest.mark.parametrize("column", ["tetroxalate", "phosphate 1:1", "borax", "carbonate"])
def test_jis_differs_from_iupac_by_its_two_decimals_only(column: str) -> None:
    assert max(difference(JIS, column).values()) <= Decimal("0.008")


@pytest.mark.parametrize(
    ("temperature", "within"), [(15, 0.003), (20, 0.003), (25, 0.003), (0, 0.011), (50, 0.011)]
)
def test_phthalate_agrees_with_the_nbs_equation_of_1977(temperature: int, within: float) -> None:
    # J. Res. NBS 81A (1977) 21: pH = 2073.44/T - 13.3270 + 0.045199 T - 3.4846e-5 T²
    T = temperature + 273.15
    equation = 2073.44 / T - 13.3270 + 0.045199 * T - 3.4846e-5 * T * T
    assert float(at(IUPAC, "phthalate", str(temperature))) == pytest.approx(equation, abs=within)


def test_nernst_table_is_its_formula_to_the_printed_digit() -> None:
    # R and F exact in the 2019 SI
    for temperature, printed in tables.load(*NERNST).nodes("nernst slope"):
        formula = 1000 * math.log(10) * 8.314462618 * (float(temperature) + 273.15) / 96485.33212
        assert float(printed) == pytest.approx(formula, abs=0.00005)


# ---------------------------------------------------------------- range and nodes


@pytest.mark.parametrize(("edition", "column"), COLUMNS)
def test_nothing_is_extrapolated(edition: tuple[str, str], column: str) -> None:
    """Just inside and at both ends a value, just outside an error that names both limits."""
    table, (low, *_, high) = tables.load(*edition), tables.load(*edition).nodes(column)
    step = Decimal("0.1")
    for (limit, printed), inward in ((low, step), (high, -step)):
        assert table.at(column, limit) == printed
        assert abs(table.at(column, limit + inward) - printed) < max(Decimal("0.1"), printed / 100)
        with pytest.raises(CorrectTheEntry) as refused:
            table.at(column, limit - inward)
        assert str(refused.value) == (
            f"{limit - inward} °C is outside the table {edition[0]} ({edition[1]}), which gives {column} "
            f"from {low[0]} to {high[0]} °C; nothing is extrapolated."
        )


@pytest.mark.parametrize(("edition", "column"), COLUMNS)
def test_every_printed_point_is_met_from_both_sides(edition: tuple[str, str], column: str) -> None:
    table, nodes = tables.load(*edition), tables.load(*edition).nodes(column)
    tiny = Decimal("0.000001")
    for x, printed in nodes[1:-1]:
        assert table.at(column, x) == printed
        near = max(Decimal("0.00001"), printed / 10**7)
        assert abs(table.at(column, x - tiny) - printed) < near
        assert abs(table.at(column, x + tiny) - printed) < near


@pytest.mark.parametrize(("edition", "column"), COLUMNS)
def test_interpolated_values_end(edition: tuple[str, str], column: str) -> None:
    """Steps are products of 2 and 5, so that a value at a typed temperature is exact and short."""
    nodes = tables.load(*edition).nodes(column)
    for (before, _), (after, _) in pairwise(nodes):
        assert 10**6 % int(after - before) == 0


def test_blanks_are_skipped() -> None:
    assert tables.load(*IUPAC).nodes("tartrate")[0] == (Decimal(25), Decimal("3.557"))


def test_an_unknown_column_is_answered_with_those_there_are() -> None:
    with pytest.raises(
        ChooseAnother, match=r"has no column '8.00'; it has 4.01, 7.00, 7.00 three decimals, 10.01"
    ):
        at(TRADE, "8.00", "25")


# ---------------------------------------------------------------- scanning errors


# Coarsest digit printed in a column of potassium chloride: six figures are finer than a second-order curve.
FINE = {"0.01 m": Decimal("0.01"), "0.1 m": Decimal("0.1"), "1.0 m": Decimal(10)}


def differences(edition: tuple[str, str], figures: list[Decimal]) -> list[Decimal]:
    """Third differences; of potassium chloride fourth ones."""
    for _ in range(4 if edition == KCL else 3):
        figures = [b - a for a, b in pairwise(figures)]
    return figures


def evenly_spaced(edition: tuple[str, str], column: str) -> list[Decimal]:
    nodes = tables.load(*edition).nodes(column)
    step = nodes[1][0] - nodes[0][0]
    return [y for place, (x, y) in enumerate(nodes) if x == nodes[0][0] + place * step]


def allowed(edition: tuple[str, str], column: str) -> Decimal:
    """Rounding alone changes a second difference by up to four digits, a third one by up to eight."""
    if edition == KCL:
        return 8 * FINE[column]
    digits = (
        8 if (edition, column) == (HJ, "calcium hydroxide") else 4
    )  # its 50 °C point: see its description
    return digits * tables.load(*edition).columns[column].digit


SMOOTH = [
    param
    for param in COLUMNS
    if len(evenly_spaced(*param.values)) > 3  # type: ignore[arg-type]  # fewer show no curve
]


@pytest.mark.parametrize(("edition", "column"), SMOOTH)
def test_second_differences_change_smoothly(edition: tuple[str, str], column: str) -> None:
    assert max(map(abs, differences(edition, evenly_spaced(edition, column)))) <= allowed(edition, column)


@pytest.mark.parametrize(("edition", "column"), SMOOTH)
def test_a_digit_read_wrongly_would_be_seen(edition: tuple[str, str], column: str) -> None:
    """The check above can fail: one digit more than allowed in any figure but the ends."""
    figures = evenly_spaced(edition, column)
    for place in range(1, len(figures) - 1):
        wrong = figures.copy()
        wrong[place] += allowed(edition, column) + tables.load(*edition).columns[column].digit
        assert max(map(abs, differences(edition, wrong))) > allowed(edition, column)


# ---------------------------------------------------------------- descriptions and digests

KEYS = {
    "name", "edition", "title", "cite", "issuer", "document", "table", "verification", "notes", "data",
    "digest", "x", "column",
}  # fmt: skip
COLUMN_KEYS = {"label", "unit", "digit", "low", "high", "expanded", "expanded_from"}
DESCRIPTIONS = sorted(shipped_folder("standards_tables").glob("*.toml"))


@pytest.mark.parametrize("path", DESCRIPTIONS, ids=lambda path: path.stem)
def test_every_table_explains_itself(path: Path) -> None:
    described = tomllib.loads(path.read_text("utf-8"))
    assert set(described) == KEYS
    assert all(described[key] for key in KEYS - {"notes"})
    assert set(described["x"]) == {"label", "unit", "low", "high"}
    with (path.parent / described["data"]).open(encoding="utf-8", newline="") as stream:
        head, *rows = csv.reader(stream)
    steps, kcl = path.stem.startswith(REPORTING[0]), path.stem.startswith(KCL[0])
    assert head == ["from_ntu" if steps else "temperature_c", *described["column"]]
    assert [described["x"]["low"], described["x"]["high"]] == [rows[0][0], rows[-1][0]]
    for place, name in enumerate(head[1:], start=1):
        column = described["column"][name]
        assert set(column) == COLUMN_KEYS
        assert all(column[key] for key in COLUMN_KEYS - {"expanded"})
        given = [row for row in rows if row[place]]
        assert [column["low"], column["high"]] == [given[0][0], given[-1][0]]
        decimals = {len(row[place].partition(".")[2]) for row in given}
        finest = len(column["digit"].partition(".")[2])
        assert (max(decimals) == finest) if steps or kcl else (decimals == {finest}), name


def test_verification_is_in_words_not_codes() -> None:
    for edition in tables.names():
        assert tables.load(*edition).verification.split()[0] in ("memory", "one", "three", "computed")


def test_every_file_of_figures_has_a_description() -> None:
    folder = shipped_folder("standards_tables")
    assert {path.stem for path in folder.glob("*.csv")} == {path.stem for path in DESCRIPTIONS}
    assert set(tables.names()) == {IUPAC, TRADE, HJ, JIS, NERNST, REPORTING, KCL, CONDUCTIVITY, F25}


def test_reporting_increments_are_steps_at_the_edges_of_the_method() -> None:
    """EPA Method 180.1 rev 2.0, section 12: 0.05 to 1 NTU, then 0.1, 1 from 10, 5 from 40, 10, 50 and 100."""
    rows = [(str(low), str(step)) for low, step in tables.load(*REPORTING).nodes("increment")]
    assert rows == [
        ("0", "0.05"), ("1", "0.1"), ("10", "1"), ("40", "5"), ("100", "10"), ("400", "50"), ("1000", "100"),
    ]  # fmt: skip


def test_use_names_edition_digest_and_source() -> None:
    use = tables.load(*IUPAC).use()
    data = (shipped_folder("standards_tables") / "ph_buffers_reference_iupac-2002.csv").read_bytes()
    assert use.digest == hashlib.sha256(data).hexdigest()
    assert (use.name, use.edition) == IUPAC
    assert use.source.startswith(
        "IUPAC Recommendations 2002, Pure Appl. Chem. 74(11), 2169-2200, Tables 2 and 4 ("
    )


def test_stated_uncertainty_is_that_of_primary_and_secondary_standards() -> None:
    columns = tables.load(*IUPAC).columns
    assert (columns["phthalate"].expanded, columns["tetroxalate"].expanded) == (
        Decimal("0.003"),
        Decimal("0.01"),
    )
    assert tables.load(*TRADE).columns["7.00"].expanded is None


def test_an_edited_figure_is_refused(tmp_path: Path) -> None:
    shutil.copytree(shipped_folder("standards_tables"), tmp_path, dirs_exist_ok=True)
    data = tmp_path / "ph_buffers_ready_made_trade-1.csv"
    data.write_text(data.read_text("utf-8").replace("7.02,", "7.03,"), "utf-8", newline="\n")
    with pytest.raises(
        ResultsDiffer, match=r"^The figures in ph_buffers_ready_made_trade-1.csv are not those of the table"
    ) as refused:
        tables.read_table(tmp_path, *TRADE)
    assert refused.value.found == hashlib.sha256(data.read_bytes()).hexdigest()


def test_another_digest_than_the_record_names_is_refused() -> None:
    digest = tables.load(*TRADE).digest
    assert tables.load(*TRADE, digest=digest).digest == digest
    with pytest.raises(
        ResultsDiffer, match=r"here is not the one that was used: digest .* instead of 000000000000…"
    ):
        tables.load(*TRADE, digest="0" * 64)


def test_an_unknown_edition_is_answered_with_those_there_are() -> None:
    with pytest.raises(
        ChooseAnother,
        match=r"^There is no table 'ph_buffers_ready_made', edition 'trade 2'; there are editions of "
        r"ph_buffers_ready_made: trade 1\.$",
    ):
        tables.load("ph_buffers_ready_made", "trade 2")
    with pytest.raises(ChooseAnother, match=r"; nernst_slope \(SI 2019\); ph_buffers_hj1147"):
        tables.load("no such table", "1")
