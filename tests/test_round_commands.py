"""Rounds, queue, questions and piles as they are typed: exit codes, sentences, JSON that keeps its schema."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from round_example import BAD, DAY, TITLE, fill_in, plant_with_round, skip, type_in
from test_cli import MAYBE, RUN, SECRET, TEXT, Wqverify, fits, many, of, wqverify  # noqa: F401 (a fixture)

from wqverify.plant.folder import open_plant
from wqverify.plant.round_folder import RoundFolder, read_round

pytestmark = pytest.mark.slow


def any_of(item: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": item}


PREPARED = of(round=TEXT, date=TEXT, folder=TEXT, stops=many(of(tag=TEXT, procedure=TEXT, sheet=TEXT)))
ROUND = of(round=TEXT, chart=MAYBE, skipped=any_of(of(tag=TEXT, procedure=TEXT, why=TEXT)))
WALKED = of(records=RUN, rounds=many(ROUND))
QUEUE = of(
    waiting=any_of(
        of(
            number=TEXT,
            tag=TEXT,
            procedure=TEXT,
            performed=TEXT,
            by=TEXT,
            to={"enum": ["sign", "countersign", "answer"]},
            people=any_of(TEXT),
            exceptions=any_of(of(kind=TEXT, text=TEXT)),
            round=MAYBE,
            questions=any_of(of(question=TEXT, by=TEXT, answer=TEXT)),
        )
    ),
    skipped=any_of(of(day=TEXT, round=TEXT, tag=TEXT, procedure=TEXT, why=TEXT, by=TEXT)),
)
PILE = of(
    done=TEXT,
    numbers=any_of(TEXT),
    by=TEXT,
    already=any_of(TEXT),
    left_out=any_of(of(number=TEXT, why=TEXT)),
)
TOLD = of(done=TEXT, number=TEXT, by=TEXT)
STARTED = ("--date", DAY, "--started", "08:05", "--told", "R. Okafor")
FOLDER = f"field_sheets/{TITLE}"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("round commands")
    plant_with_round(folder / "plant")
    (folder / "secret").write_text(SECRET + "\n", "utf-8")
    return folder


@pytest.fixture
def here(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = Path(shutil.copytree(made, tmp_path / "here"))
    monkeypatch.setenv("WQVERIFY_KEYS", str(folder / "keys"))
    monkeypatch.chdir(folder / "plant")
    return folder


def filled(here: Path) -> RoundFolder:
    """The round as it comes back: one clean, one failed."""
    one = read_round(here / "plant" / FOLDER)
    for row in one.rows:
        fill_in(row.path, row.tag, BAD if row.tag == "AIT-2102" else [["7.03"] * 4, ["10.06"] * 4])
    type_in(one.folder / "round.toml", "head.cautions", read="yes")
    return one


def test_a_round_from_its_name_to_the_countersignature(wqverify: Wqverify, here: Path) -> None:  # noqa: F811
    secret = ("--passphrase-file", here / "secret")
    authority = ("--authority-passphrase-file", here / "secret")
    assert wqverify("people", "authority", *authority)[0] == 0
    for staff in ("T-07", "S-02"):
        assert wqverify("people", "add", staff, *authority, *secret)[0] == 0
    code, out, _err = wqverify("round", "weekly", "--by", "T-07", *STARTED, "--json")
    assert (code, [stop["tag"] for stop in fits(out, PREPARED)["stops"]]) == (0, ["AIT-2101", "AIT-2102"])
    filled(here)
    code, out, _err = wqverify("run", "--check", FOLDER, "--json")
    assert (code, fits(out, WALKED)["rounds"][0]["chart"]) == (0, None)
    assert wqverify("book", "list")[1] == ""
    code, out, err = wqverify("run", FOLDER, "--json")
    ran = fits(out, WALKED)
    numbers = [row["number"] for row in ran["records"]]
    assert (code, numbers) == (0, ["L1-2026-0001", "L1-2026-0002"])
    assert "executing the notebook of ph_calibration for 2 field sheets" in err
    assert Path(ran["rounds"][0]["chart"]).is_file()
    code, out, _err = wqverify("sign", FOLDER, "--by", "T-07", *secret, "--json")
    assert (code, fits(out, PILE)["numbers"]) == (0, numbers)

    code, out, _err = wqverify("queue", "--json")
    waiting = fits(out, QUEUE)["waiting"]
    assert (code, [(row["number"], row["to"]) for row in waiting]) == (
        0,
        [("L1-2026-0002", "countersign"), ("L1-2026-0001", "countersign")],
    )
    assert [why["kind"] for why in waiting[0]["exceptions"]] == ["fail"]
    asked = ("question", "L1-2026-0002", "--by", "S-02", "--text", "Why was it not adjusted?")
    code, out, _err = wqverify(*asked, "--json")
    assert (code, fits(out, TOLD)["number"]) == (0, "L1-2026-0002")
    assert wqverify(*asked)[1] == "L1-2026-0002: this question is in the book already.\n"
    code, out, _err = wqverify("review", FOLDER, "--by", "S-02", *secret)
    assert (code, out.splitlines()) == (
        0,
        [
            "1 record countersigned by S-02.",
            "Left out: L1-2026-0002 is returned with a question by S-02 and waits for the answer of T-07: "
            "Why was it not adjusted?",
        ],
    )
    code, _out, err = wqverify("review", "L1-2026-0002", "--by", "S-02", *secret)
    assert code == 2
    assert "was returned by S-02 with a question that T-07 has not answered" in err
    code, out, _err = wqverify("answer", "L1-2026-0002", "--by", "T-07", "--text", "No buffer.", "--json")
    assert (code, fits(out, TOLD)["by"]) == (0, "T-07")
    code, out, _err = wqverify("review", FOLDER, "L1-2026-0001", "--by", "S-02", *secret, "--json")
    pile = fits(out, PILE)
    assert (pile["numbers"], pile["already"]) == (["L1-2026-0002"], ["L1-2026-0001"])
    code, out, _err = wqverify("review", FOLDER, "--by", "S-02", *secret)
    assert out.splitlines()[1] == "L1-2026-0001 was countersigned by S-02 before; nothing is signed twice."
    for command in (("show", "L1-2026-0002"), ("book", "list")):
        out = wqverify(*command)[1]
        assert "returned with a question by S-02 on 2026-06-01: Why was it not adjusted?" in out
        assert "answered by T-07 on 2026-06-01: No buffer." in out
    assert wqverify("queue")[1] == "Nothing waits.\n"
    assert wqverify("rerun", "--all", "--pages")[0] == 0
    assert wqverify("book", "examine")[0] == 0


def test_what_was_skipped_is_told_wherever_one_looks(wqverify: Wqverify, here: Path) -> None:  # noqa: F811
    assert wqverify("round", "weekly", "--by", "T-07", *STARTED)[0] == 0
    skip(filled(here), "AIT-2102", "valve stuck")
    said = f"Skipped on {TITLE}: ph_calibration of AIT-2102, valve stuck"
    assert said in wqverify("run", "--check", FOLDER)[1]
    code, out, _err = wqverify("run", FOLDER)
    assert (code, said in out, f"Chart of the round {TITLE}: " in out) == (0, True, True)
    _code, out, _err = wqverify("run", FOLDER, "--json")
    assert fits(out, WALKED)["rounds"][0]["skipped"][0]["why"] == "valve stuck"
    _code, out, _err = wqverify("queue", "--json")
    assert [row["why"] for row in fits(out, QUEUE)["skipped"]] == ["valve stuck"]
    line = f"skipped  {DAY}  AIT-2102  ph_calibration, round {TITLE}, by T-07: valve stuck"
    assert line in wqverify("book", "list", "--month", "2026-05")[1]
    assert line not in wqverify("book", "list", "--month", "2026-06")[1]


def test_a_round_is_signed_in_ink(wqverify: Wqverify, here: Path) -> None:  # noqa: F811
    assert wqverify("round", "weekly", "--by", "T-07", *STARTED)[0] == 0
    filled(here)
    assert wqverify("run", FOLDER)[0] == 0
    pen = ("--pen", "--kept-at", "binder 3")
    assert wqverify("sign", FOLDER, "--by", "T-07", *pen)[1] == "2 records signed by T-07.\n"
    assert wqverify("review", FOLDER, "--by", "S-02", *pen)[1] == "2 records countersigned by S-02.\n"


def test_the_round_tells_what_it_wrote_and_what_to_read(wqverify: Wqverify, here: Path) -> None:  # noqa: F811
    code, out, _err = wqverify("round", "weekly", "--by", "T-07", "--folder", here / "elsewhere")
    assert code == 0
    assert "  2 AIT-2102.toml: ph_calibration" in out
    assert "Read before the work: wqverify cautions ph_calibration" in out
    assert open_plant(here / "plant").rounds


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (("round", "wekly", "--by", "T-07"), 2, "There is no round 'wekly'; did you mean weekly?"),
        (("round", "weekly", "--by", "X-9"), 2, "There is no person X-9"),
        (("run", "field_sheets"), 2, "field_sheets is no folder of a round: it holds no round.toml"),
        (("sign", "field_sheets", "--by", "T-07"), 3, "no record book"),
        (("question", "L1-2026-0001", "--by", "S-02", "--text", "Why?"), 3, "no record book"),
        (("answer", "L1-2026-0001", "--by", "T-07", "--text", "Because."), 3, "no record book"),
        (("question", "L1-2026-0001", "--by", "S-02"), 2, "Missing option '--text'"),
    ],
    ids=lambda x: str(x)[:50],
)
def test_what_is_refused_is_said_in_a_sentence(
    wqverify: Wqverify,  # noqa: F811
    arguments: tuple[str, ...],
    code: int,
    says: str,
) -> None:
    found, _out, err = wqverify(*arguments)
    assert found == code, err
    assert says in err


@pytest.mark.usefixtures("here")
def test_without_a_book_the_queue_is_empty(wqverify: Wqverify) -> None:  # noqa: F811
    code, out, _err = wqverify("queue", "--json")
    assert (code, fits(out, QUEUE)) == (0, {"waiting": [], "skipped": []})


def test_a_wrong_answer_of_a_round_is_found_by_checking_the_plant(
    wqverify: Wqverify,  # noqa: F811
    here: Path,
) -> None:
    path = here / "plant" / "rounds.toml"
    path.write_text(path.read_text("utf-8").replace("T-17", "T-99"), "utf-8")
    code, _out, err = wqverify("plant", "check")
    assert (code, "reference is 'T-99', which standards_on_hand.toml does not hold" in err) == (2, True)
