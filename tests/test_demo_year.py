"""The calculated year of the demo: a few weeks of it, unsigned, labelled, found by every list."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from plant_example import MONTH, NOW

from wqverify import acts, audit
from wqverify.demo import year
from wqverify.demo.ellodale import make_plant
from wqverify.demo.year import REMARK, add_year, year_visits
from wqverify.demo.yearly_checks import checks_json
from wqverify.lists.history import history
from wqverify.lists.plan_kept import plan_kept
from wqverify.plant.folder import Plant, open_plant
from wqverify.records.canonical import record_from
from wqverify.records.rerun import Answer

WEEKS = 2


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    """Two weeks, the second of them with the other chlorine transmitter; on one round a stop is skipped."""
    patch = pytest.MonkeyPatch()
    patch.setattr(year, "QUARTER", 1)
    made = make_plant(tmp_path_factory.mktemp("year") / "plant", MONTH)
    add_year(made, MONTH, NOW, lambda _said: None, WEEKS)
    patch.undo()
    return open_plant(made.folder)


def test_the_same_year_comes_every_time() -> None:
    monday = date(2025, 4, 28)
    first, again = (list(year_visits(monday, 52)) for _ in range(2))
    assert first == again
    days = [visit.day for visit in first]
    assert days == sorted(days)
    assert (days[0], days[-1]) >= (monday, monday + timedelta(weeks=51))
    assert any(visit.skipped for visit in first)
    assert len(first) > 200
    assert all(REMARK in visit.sheet for visit in first if visit.sheet)


def test_the_weeks_are_entered_unsigned_labelled_and_without_a_notebook(plant: Plant) -> None:
    book = audit.book_of(plant)
    states = list(book.records())
    assert len(states) >= 8
    assert {state.state for state in states} == {"performed, not signed"}
    for state in states:
        record = record_from(book.stored(state.number))
        assert record.sheet["remarks"].startswith(REMARK)
        assert record.given.site.synthetic
        assert (record.software.notebook, "executed.ipynb" in record.attachments) == ("", False)
        assert record.performed < "2026-05"


def test_the_book_and_its_pages_are_whole_and_run_again(plant: Plant) -> None:
    found = audit.examine_book(plant, None, [])
    assert [one.text for one in found if one.severity == "damaged"] == []
    answers = [one.answer for one in audit.rerun_book(plant, [], "", audit.How(pages=True))]
    assert set(answers) == {Answer.REPRODUCED}


def test_the_register_of_today_is_the_accepted_one(plant: Plant) -> None:
    assert acts.unexplained(plant) == ()


def test_the_lists_have_something_to_show(plant: Plant) -> None:
    assert [one.serial for one in history(plant, "AIT-2301").instruments] == ["EL-0588", "EL-0611"]
    kept = plan_kept(plant, "2026-04", NOW)
    assert kept.counts["in time"] + kept.counts["late"] >= 3
    assert "EL-0588" in checks_json(plant, "2026-05-01")


@pytest.mark.parametrize(
    ("sheet", "labelled"),
    [
        ('tag = "A"\n\n[x]\ny = "1"\n', f'tag = "A"\nremarks = "{REMARK}"\n\n[x]\ny = "1"\n'),
        (
            'tag = "A"\nremarks = "film"\n\n[x]\ny = "1"\n',
            f'tag = "A"\nremarks = "{REMARK} film"\n\n[x]\ny = "1"\n',
        ),
    ],
)
def test_the_remark_stands_before_one_of_its_own(sheet: str, labelled: str) -> None:
    assert year._said(sheet) == labelled
