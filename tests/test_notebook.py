"""The notebook run believes nothing of the notebook that was not checked."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import nbformat
import pytest

from wqverify.errors import CouldNotRun, ResultsDiffer
from wqverify.records import notebook as run
from wqverify.records.canonical import to_plain
from wqverify.records.notebooks_digest import digests
from wqverify.records.record import case_from, compute
from wqverify.records.workbook import demo_case
from wqverify.shipped import shipped_folder

NAME = "ph_calibration"
ROOT = Path(__file__).resolve().parent.parent


def changed(tmp_path: Path, change: Callable[[Any], None]) -> Path:
    """The shipped notebook with one change, as a file of its own."""
    content = nbformat.read(shipped_folder("notebooks") / f"{NAME}.ipynb", as_version=4)
    change(content)
    path = tmp_path / f"{NAME}.ipynb"
    nbformat.write(content, path)
    return path


def cell(content: Any, name: str) -> Any:
    return next(c for c in content.cells if c.id == name)


@pytest.fixture(scope="module")
def executed() -> run.Executed:
    return run.execute(NAME, [demo_case(NAME), demo_case(NAME)])


@pytest.mark.slow
def test_every_case_gives_exactly_the_computed_result(executed: run.Executed) -> None:
    computed = to_plain(compute(case_from(demo_case(NAME))))
    assert len(executed.results) == 2
    for shown in executed.results:
        run.insist_on_same(NAME, shown, computed)


@pytest.mark.slow
def test_synthetic_data_are_labelled_in_the_notebook(executed: run.Executed) -> None:
    assert executed.ipynb.decode().count("Synthetic data: an invented plant") == 2


@pytest.mark.slow
def test_every_case_has_its_own_charts(executed: run.Executed) -> None:
    first, second = executed.charts
    assert list(first) == list(second) == [f"chart-{n}.svg" for n in range(1, len(first) + 1)]
    assert first["chart-1.svg"].lstrip().startswith(b"<?xml")


@pytest.mark.slow
def test_the_executed_notebook_holds_no_machine_path_and_no_times(executed: run.Executed) -> None:
    content = json.loads(executed.ipynb)
    text = executed.ipynb.decode()
    assert "papermill" not in content["metadata"]
    assert str(Path.home()) not in text
    assert "/tmp" not in text
    assert "start_time" not in text


@pytest.mark.slow
def test_a_notebook_edited_to_show_a_nicer_number_is_refused(tmp_path: Path) -> None:
    def nicer(content: Any) -> None:
        cell(content, "open").source += (
            "\nfrom dataclasses import replace\n"
            "v = visits[0]; r = v.record.result; c = r.checks[0]\n"
            "kinder = replace(r, checks=(replace(c, outcome=type(c.outcome)('fail')), *r.checks[1:]))\n"
            "visits = [replace(v, record=replace(v.record, result=kinder))]\n"
        )

    case = demo_case(NAME)
    executed = run.execute(NAME, [case], changed(tmp_path, nicer))
    with pytest.raises(ResultsDiffer, match="shows another result than the computation \\(thermometer\\)"):
        run.insist_on_same(NAME, executed.results[0], to_plain(compute(case_from(case))))


def test_an_edited_notebook_is_refused_before_it_runs(tmp_path: Path, monkeypatch: Any) -> None:
    changed(tmp_path, lambda content: content.cells.append(nbformat.v4.new_code_cell("1")))
    monkeypatch.setattr(run, "shipped_folder", lambda _name: tmp_path)
    with pytest.raises(
        ResultsDiffer, match=r"ph_calibration\.ipynb is not the one this version was released"
    ):
        run.execute(NAME, [demo_case(NAME)])


@pytest.mark.slow
@pytest.mark.parametrize(
    "ending",
    [
        "raise SystemExit(0)",
        "import os; os._exit(0)",
        # The kernel ends 0.1 s later; without waiting, the cells that are left may well have run by then.
        "get_ipython().kernel.do_shutdown(False); import time; time.sleep(0.5)",
    ],
)
def test_a_notebook_that_ends_early_is_refused(tmp_path: Path, ending: str) -> None:
    def early(content: Any) -> None:
        cell(content, "hand").source = ending

    with pytest.raises((ResultsDiffer, CouldNotRun), match=r"ph_calibration\.ipynb (ended early|stopped)"):
        run.execute(NAME, [demo_case(NAME)], changed(tmp_path, early))


@pytest.mark.slow
def test_a_notebook_that_hands_back_nothing_is_refused(tmp_path: Path) -> None:
    def silent(content: Any) -> None:
        cell(content, "emit").source = "pass"

    with pytest.raises(ResultsDiffer, match="gave 0 results for 1 field sheets"):
        run.execute(NAME, [demo_case(NAME)], changed(tmp_path, silent))


@pytest.mark.slow
def test_a_notebook_that_fails_says_so_in_one_sentence(tmp_path: Path) -> None:
    def failing(content: Any) -> None:
        cell(content, "hand").source = "1 / 0"

    with pytest.raises(CouldNotRun) as caught:
        run.execute(NAME, [demo_case(NAME)], changed(tmp_path, failing))
    assert str(caught.value).startswith("The notebook ph_calibration.ipynb stopped: ZeroDivisionError")
    assert "\n" not in str(caught.value)


HOSTILE = [
    "'; import os; os._exit(1) #",
    '"""',
    "line\nbreak = 1",
    "tail\\",
    "{cases}",
    "%reset -f",
    "!exit",
    "\u2028\u2029\x85",
    "\u202eabc",
]


@pytest.mark.slow
def test_hostile_text_arrives_as_text(tmp_path: Path) -> None:
    def echo(content: Any) -> None:
        del content.cells[2:]
        content.cells.append(
            nbformat.v4.new_code_cell(
                "from IPython.display import display\n"
                f"display({{'{run.RESULT_TYPE}': {{'got': cases}}, 'text/plain': ''}}, raw=True)"
            )
        )

    hostile = [{text: text} for text in HOSTILE]
    executed = run._papermill(changed(tmp_path, echo), {"cases": hostile})
    run._insist_on_cells(tmp_path / f"{NAME}.ipynb", executed, hostile)
    assert executed.cells[-1].outputs[0].data[run.RESULT_TYPE]["got"] == hostile


@pytest.mark.parametrize("value", [Path("x"), b"x", {1: "x"}, {"x": {2, 3}}, math.nan, math.inf, [object()]])
def test_only_plain_types_are_handed_over(value: Any) -> None:
    with pytest.raises(TypeError, match="plain types only"):
        run.refuse_other_than_plain(value)


def test_the_digests_of_the_shipped_notebooks_are_those_written_down() -> None:
    """Regression: notebooks.toml is what `python -m wqverify.records.notebooks_digest` prints."""
    from importlib.resources import files

    assert (files("wqverify") / "records" / "notebooks.toml").read_text("utf-8") == digests()


@pytest.mark.parametrize("name", sorted(path.stem for path in (ROOT / "notebooks").glob("*.ipynb")))
def test_notebooks_are_stored_clean(name: str) -> None:
    content = nbformat.read(ROOT / "notebooks" / f"{name}.ipynb", as_version=4)
    assert set(content.metadata) == {"kernelspec", "language_info"}
    for one in content.cells:
        assert set(one.metadata) <= {"tags", "jupyter"}, one.id
        if one.cell_type == "code":
            assert one.outputs == []
            assert one.execution_count is None
            assert "def " not in one.source
            assert "lambda" not in one.source


def test_the_optional_grammar_is_kept_out_of_the_way() -> None:
    """Without the block an import of nbformat builds a grammar for about a second."""
    import subprocess
    import sys

    script = (
        "import sys; from wqverify.records import notebook as n\n"
        "from pathlib import Path\n"
        "try: n._papermill(Path('missing.ipynb'), {})\nexcept Exception as e: pass\n"
        "print('RESULT', sys.modules.get('rfc3987_syntax', 'absent'))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "RESULT None"
