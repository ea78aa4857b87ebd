"""Perform, sign, review: the order of the steps, who may, and what a second command finds."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from plant_example import NOW, plant_in, record_in, sheet_of

from wqverify import acts, audit
from wqverify.errors import ChooseAnother, CorrectTheEntry, RepairTheFolder, ResultsDiffer
from wqverify.plant.folder import Plant, open_plant
from wqverify.records.canonical import digest, record_from
from wqverify.records.rerun import Answer

pytestmark = pytest.mark.slow
SECRET = b"a long enough one"


@pytest.fixture(scope="module")
def performed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant with keys and two performed records, to be copied by each test."""
    folder = tmp_path_factory.mktemp("acts")
    plant = plant_in(folder / "plant")
    acts.make_authority(plant, folder / "keys", SECRET, NOW)
    for staff in ("T-07", "T-11", "S-02"):
        acts.issue_key(plant, folder / "keys", staff, SECRET, SECRET, NOW)
    acts.perform(plant, [sheet_of(plant, "pass"), sheet_of(plant, "fail")], NOW)
    return folder


@pytest.fixture
def here(performed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(performed, tmp_path / "here"))


def plant_of(here: Path) -> Plant:
    return open_plant(here / "plant")


def change(here: Path, file: str, old: str, new: str) -> None:
    path = here / "plant" / file
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


def sign(here: Path, *numbers: str, by: str = "T-07") -> list[str]:
    return acts.sign(plant_of(here), numbers, by, here / "keys", SECRET, NOW)


def review(here: Path, *numbers: str, by: str = "S-02") -> list[str]:
    return acts.review(plant_of(here), numbers, by, here / "keys", SECRET, NOW)


def state(here: Path, number: str) -> str:
    found = audit.book_of(plant_of(here)).find(number)
    assert found is not None
    return found.state


# ---------------------------------------------------------------- perform


def test_performing_needs_no_key_and_enters_the_record(here: Path) -> None:
    states = list(audit.book_of(plant_of(here)).records())
    assert [s.number for s in states] == ["L1-2026-0001", "L1-2026-0002"]
    assert states[0].outcomes["as_found at the analyzer"] == "pass"
    assert states[1].outcomes["as_found at the analyzer"] == "fail"
    assert states[1].outcomes["as_left at the analyzer"] == "pass"
    assert state(here, "L1-2026-0001") == "performed, not signed"


def test_the_same_sheet_again_changes_nothing(here: Path) -> None:
    plant = plant_of(here)
    before = audit.book_of(plant).heads()
    again = acts.perform(plant, [sheet_of(plant, "pass")], NOW + timedelta(days=1))
    assert [(one.number, one.already) for one in again] == [("L1-2026-0001", True)]
    assert audit.book_of(plant).heads() == before


def test_another_sheet_of_the_same_visit_is_refused_with_the_way_on(here: Path) -> None:
    change(here, "field_sheets/pass.toml", 'how = "wiped', 'how = "also wiped')
    plant = plant_of(here)
    with pytest.raises(CorrectTheEntry) as caught:
        acts.perform(plant, [sheet_of(plant, "pass")], NOW)
    assert "this visit is in the book as L1-2026-0001 with other entries" in str(caught.value)
    assert 'add replaces = "L1-2026-0001"' in str(caught.value)


def test_an_amended_record_has_its_own_number_and_names_the_old_one(here: Path) -> None:
    head = 'replaces = "L1-2026-0001"\nreplaces_why = "cleaning was told wrong"\nmethod = '
    change(here, "field_sheets/pass.toml", "method = ", head)
    plant = plant_of(here)
    (done,) = acts.perform(plant, [sheet_of(plant, "pass")], NOW)
    assert (done.number, done.record.replaces) == ("L1-2026-0003", "L1-2026-0001")
    assert state(here, "L1-2026-0001") == "superseded by L1-2026-0003"
    assert record_from(audit.book_of(plant).stored("L1-2026-0001")).replaces == ""
    with pytest.raises(ChooseAnother, match=r"L1-2026-0001 is superseded by L1-2026-0003"):
        sign(here, "L1-2026-0001")
    (again,) = acts.perform(plant, [sheet_of(plant, "pass")], NOW)
    assert (again.number, again.already) == ("L1-2026-0003", True)


@pytest.mark.parametrize(
    ("named", "says"),
    [
        ("L1-2026-0009", "which is not in the book"),
        ("L1-2026-0001", "which is superseded by L1-2026-0003; replace the record that stands"),
    ],
)
def test_only_a_record_that_stands_is_replaced(here: Path, named: str, says: str) -> None:
    first = 'replaces = "L1-2026-0001"\nreplaces_why = "a reason"\nmethod = '
    change(here, "field_sheets/pass.toml", "method = ", first)
    plant = plant_of(here)
    acts.perform(plant, [sheet_of(plant, "pass")], NOW)
    change(here, "field_sheets/pass.toml", 'replaces = "L1-2026-0001"', f'replaces = "{named}"')
    change(here, "field_sheets/pass.toml", 'started = "08:05"', 'started = "08:04"')
    with pytest.raises(CorrectTheEntry, match=says):
        acts.perform(plant, [sheet_of(plant, "pass")], NOW)


def test_one_refused_sheet_enters_none(here: Path) -> None:
    change(here, "field_sheets/close.toml", 'serial_on_plate = "EL-0417"', 'serial_on_plate = "EL-0418"')
    plant = plant_of(here)
    before = audit.book_of(plant).heads()
    with pytest.raises(CorrectTheEntry, match="The serial on the plate is EL-0418"):
        acts.perform(plant, [sheet_of(plant, "information"), sheet_of(plant, "close")], NOW)
    assert audit.book_of(plant).heads() == before


def test_the_next_page_tells_what_changed_and_what_nobody_explained(here: Path) -> None:
    change(here, "analyzers.toml", 'low = "-0.15"\nhigh = "0.15"', 'low = "-0.12"\nhigh = "0.12"')
    plant = plant_of(here)
    assert set(acts.unexplained(plant)) == {
        ("AIT-2101", "tolerance control_system of AIT-2101: low", "-0.15", "-0.12"),
        ("AIT-2101", "tolerance control_system of AIT-2101: high", "0.15", "0.12"),
    }
    (done,) = acts.perform(plant, [sheet_of(plant, "close")], NOW)
    assert {(c.now, c.why) for c in done.record.given.changes} == {("-0.12", ""), ("0.12", "")}
    assert len(acts.accept(plant, "S-02", "letter of the State", NOW + timedelta(minutes=1))) == 2
    assert acts.unexplained(plant) == ()
    assert acts.accept(plant, "S-02", "again", NOW) == ()
    (done,) = acts.perform(plant, [sheet_of(plant, "information")], NOW + timedelta(minutes=2))
    told = [(c.what, c.by, c.why) for c in done.record.given.changes]
    assert ("tolerance control_system of AIT-2101: high", "S-02", "letter of the State") in told


def test_an_acceptance_needs_a_reason_and_a_known_person(here: Path) -> None:
    with pytest.raises(CorrectTheEntry, match="Say why it changed"):
        acts.accept(plant_of(here), "S-02", " ", NOW)
    with pytest.raises(ChooseAnother, match="There is no person X-1"):
        acts.accept(plant_of(here), "X-1", "because", NOW)


# ---------------------------------------------------------------- sign and review


def test_a_list_is_signed_and_countersigned_and_runs_again_from_the_pdf_alone(here: Path) -> None:
    numbers = ["L1-2026-0001", "L1-2026-0002"]
    assert sign(here, *numbers) == numbers
    assert review(here, *numbers) == numbers
    plant = plant_of(here)
    for number in numbers:
        path = plant.folder / "book" / "pages" / f"{number}.pdf"
        found = audit.examine_file(path, plant)
        assert found.examination.state == "signed and countersigned"
        assert not found.damaged, found.findings
        alone = Path(shutil.copy(path, here / f"{number} alone.pdf"))
        assert audit.rerun_file(alone).sentence() == "reproduced (page compared byte for byte)"


def test_only_the_performer_signs(here: Path) -> None:
    with pytest.raises(ChooseAnother, match=r"was performed by T-07, not by Perrin Vale \(T-11\)"):
        sign(here, "L1-2026-0001", by="T-11")


def test_the_performer_cannot_review(here: Path) -> None:
    sign(here, "L1-2026-0001")
    with pytest.raises(ChooseAnother, match="cannot review it; the reviewer is another person"):
        review(here, "L1-2026-0001", by="T-07")


def test_who_may_not_review_does_not(here: Path) -> None:
    sign(here, "L1-2026-0001")
    with pytest.raises(ChooseAnother, match="may not review"):
        review(here, "L1-2026-0001", by="T-11")


def test_nothing_is_reviewed_before_it_is_signed(here: Path) -> None:
    with pytest.raises(ChooseAnother, match=r"L1-2026-0001 is performed, not signed; the reviewer signs"):
        review(here, "L1-2026-0001")


def test_nothing_is_signed_twice(here: Path) -> None:
    sign(here, "L1-2026-0001")
    heads = audit.book_of(plant_of(here)).heads()
    assert sign(here, "L1-2026-0001") == ["L1-2026-0001"]
    assert audit.book_of(plant_of(here)).heads() == heads
    with pytest.raises(ChooseAnother, match="is signed, not countersigned"):
        sign(here, "L1-2026-0001", by="T-11")


@pytest.mark.parametrize(
    ("until", "allowed"),
    [
        ("2026-06-02", True),  # the day after signing
        ("2026-06-01", True),  # the day of signing
        ("2026-05-31", False),  # the day before signing
        ("2026-05-02", False),  # the day before the work
        ("", True),  # no licence is asked of this person
    ],
)
def test_an_expired_licence_does_not_sign(here: Path, until: str, allowed: bool) -> None:
    record = acts.record_of(plant_of(here), "L1-2026-0001")
    person = replace(plant_of(here).people["T-07"], licence_until=until)
    if allowed:
        acts.allowed_to_sign(person, record, NOW)
    else:
        with pytest.raises(ChooseAnother, match=f"The licence of Ines Quarrow .* ended on {until}"):
            acts.allowed_to_sign(person, record, NOW)


def test_a_wrong_passphrase_signs_nothing(here: Path) -> None:
    plant = plant_of(here)
    before = digest((plant.folder / "book/pages/L1-2026-0001.pdf").read_bytes())
    with pytest.raises(CorrectTheEntry, match="passphrase does not open the key of T-07"):
        acts.sign(plant, ["L1-2026-0001"], "T-07", here / "keys", b"not the right one", NOW)
    assert state(here, "L1-2026-0001") == "performed, not signed"
    assert digest((plant.folder / "book/pages/L1-2026-0001.pdf").read_bytes()) == before


def test_a_withdrawn_key_signs_nothing(here: Path) -> None:
    acts.withdraw_key(plant_of(here), here / "keys", "T-07", SECRET, NOW, "laptop lost")
    with pytest.raises((ChooseAnother, RepairTheFolder), match="T-07"):
        sign(here, "L1-2026-0001")
    assert state(here, "L1-2026-0001") == "performed, not signed"


def test_a_replaced_key_signs(here: Path) -> None:
    sign(here, "L1-2026-0001")
    later = NOW + timedelta(days=1)
    plant = plant_of(here)
    acts.issue_key(plant, here / "keys", "T-07", SECRET, SECRET, later, replaces_because="new laptop")
    acts.sign(plant, ["L1-2026-0002"], "T-07", here / "keys", SECRET, later + timedelta(minutes=1))
    for number in ("L1-2026-0001", "L1-2026-0002"):
        found = audit.examine_file(plant.folder / "book" / "pages" / f"{number}.pdf", plant)
        assert not found.damaged, found.findings


def test_pen_mode_enters_where_the_paper_is_kept_and_leaves_the_file(here: Path) -> None:
    plant = plant_of(here)
    path = plant.folder / "book/pages/L1-2026-0001.pdf"
    before = path.read_bytes()
    acts.sign_on_paper(plant, "L1-2026-0001", "T-07", "binder 3, control room", NOW)
    acts.sign_on_paper(plant, "L1-2026-0001", "S-02", "binder 3, control room", NOW, as_reviewer=True)
    assert path.read_bytes() == before
    found = audit.book_of(plant).find("L1-2026-0001")
    assert found is not None
    assert found.state == "countersigned"
    assert [e.body["kept_at"] for e in found.events[1:]] == ["binder 3, control room"] * 2
    assert audit.rerun_file(path).answer is Answer.REPRODUCED


def test_pen_mode_needs_the_place_of_the_paper(here: Path) -> None:
    with pytest.raises(CorrectTheEntry, match="where the signed paper is kept"):
        acts.sign_on_paper(plant_of(here), "L1-2026-0001", "T-07", "", NOW)


def test_a_page_that_was_changed_is_not_signed(here: Path) -> None:
    path = here / "plant/book/pages/L1-2026-0001.pdf"
    path.write_bytes(path.read_bytes() + b"\n")
    with pytest.raises(ResultsDiffer, match=r"L1-2026-0001\.pdf is not the one the book holds"):
        sign(here, "L1-2026-0001")


def test_a_withdrawn_key_signs_nothing_even_with_an_older_withdrawal_list(here: Path) -> None:
    plant = plant_of(here)
    lists = plant.folder / "certificates" / "withdrawn.crl"
    certificate = plant.folder / "certificates" / "T-07.pem"
    old_list, old_certificate = lists.read_bytes(), certificate.read_bytes()
    acts.withdraw_key(plant, here / "keys", "T-07", SECRET, NOW, "laptop lost")
    lists.write_bytes(old_list)
    certificate.write_bytes(old_certificate)
    with pytest.raises(ChooseAnother, match=r"The key of T-07 was withdrawn on 2026-06-01 \(laptop lost\)"):
        sign(here, "L1-2026-0001")
    damaged = [f.text for f in audit.examine_book(plant, None, ()) if f.severity == "damaged"]
    assert "certificates/withdrawn.crl is not the one entered into the book." in damaged


def test_the_authority_is_not_withdrawn_as_a_person(here: Path) -> None:
    with pytest.raises(ChooseAnother, match="The plant authority is no person"):
        acts.withdraw_key(plant_of(here), here / "keys", "authority", SECRET, NOW, "a mistake")


def test_a_key_whose_entry_was_cut_off_is_entered_by_the_same_command(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plant = plant_of(here)
    acts.withdraw_key(plant, here / "keys", "T-11", SECRET, NOW, "a test")

    def stopped(*_arguments: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("wqverify.acts.keys._enter", stopped)
        with pytest.raises(KeyboardInterrupt):
            acts.issue_key(plant, here / "keys", "T-11", SECRET, SECRET, NOW)
    damaged = [f.text for f in audit.examine_book(plant, None, ()) if f.severity == "damaged"]
    assert damaged == ["certificates/T-11.pem is not the one entered into the book."]
    acts.issue_key(plant, here / "keys", "T-11", SECRET, SECRET, NOW)
    assert not [f for f in audit.examine_book(plant, None, ()) if f.severity == "damaged"]


def test_a_record_is_voided_once_and_with_a_reason(here: Path) -> None:
    plant = plant_of(here)
    with pytest.raises(CorrectTheEntry, match="Say why"):
        acts.void(plant, "L1-2026-0002", "S-02", " ", NOW)
    acts.void(plant, "L1-2026-0002", "S-02", "wrong analyzer", NOW)
    with pytest.raises(ChooseAnother, match="is voided already"):
        acts.void(plant, "L1-2026-0002", "S-02", "again", NOW)


def test_a_voided_record_stays_readable(here: Path) -> None:
    acts.void(plant_of(here), "L1-2026-0002", "S-02", "wrong analyzer", NOW)
    assert state(here, "L1-2026-0002") == "voided"
    assert acts.record_of(plant_of(here), "L1-2026-0002").number == "L1-2026-0002"


def test_work_in_the_future_is_refused(here: Path) -> None:
    change(here, "field_sheets/close.toml", 'date = "2026-05-17"', 'date = "2026-06-17"')
    plant = plant_of(here)
    with pytest.raises(CorrectTheEntry, match=r"close.toml: the work at 2026-06-17T14:18-05:00 lies after"):
        acts.perform(plant, [sheet_of(plant, "close")], NOW)


def test_computing_only_enters_nothing(here: Path) -> None:
    plant = plant_of(here)
    before = audit.book_of(plant).heads()
    (record,) = acts.compute_only(plant, [sheet_of(plant, "close")], NOW)
    assert record.number == "not yet entered"
    assert record.result.checks
    assert audit.book_of(plant).heads() == before


def test_an_amended_record_tells_the_old_and_the_new_value(here: Path) -> None:
    head = 'replaces = "L1-2026-0001"\nreplaces_why = "cleaning was told wrong"\nmethod = '
    change(here, "field_sheets/pass.toml", "method = ", head)
    change(here, "field_sheets/pass.toml", 'how = "wiped', 'how = "also wiped')
    plant = plant_of(here)
    (done,) = acts.perform(plant, [sheet_of(plant, "pass")], NOW)
    (told,) = [c for c in done.record.given.changes if c.what.startswith("entry ")]
    assert (told.what, told.by, told.why) == (
        "entry Cleaned: what was cleaned, and with what",
        "T-07",
        "cleaning was told wrong",
    )
    assert (told.was[:5], told.now[:10]) == ("wiped", "also wiped")


def test_the_book_tells_who_signed_in_ink_and_where_the_paper_is(here: Path) -> None:
    acts.sign_on_paper(plant_of(here), "L1-2026-0001", "T-07", "binder 3", NOW)
    found = audit.book_of(plant_of(here)).find("L1-2026-0001")
    assert found is not None
    assert found.told == (
        "signed, not countersigned; signed by T-07 on 2026-06-01 in ink "
        "(told, not proven; paper kept at binder 3)"
    )


def test_who_may_not_review_voids_nothing(here: Path) -> None:
    with pytest.raises(ChooseAnother, match="may not void a record"):
        acts.void(plant_of(here), "L1-2026-0002", "T-07", "wrong analyzer", NOW)


def test_running_again_says_that_a_record_does_not_stand(here: Path) -> None:
    plant = plant_of(here)
    acts.void(plant, "L1-2026-0002", "S-02", "wrong analyzer", NOW)
    answers = [one.sentence() for one in audit.rerun_book(plant, month="2026-05")]
    assert answers == ["reproduced", "reproduced; this record is voided since 2026-06-01"]


def test_what_later_visits_are_told_of_any_record(here: Path) -> None:
    """Whether it was adjusted there, and where the analyzer stood: a comparison never spans that unsaid."""
    records = {state.number: state for state in audit.book_of(plant_of(here)).records()}
    facts = [records[f"L1-2026-000{n}"].facts for n in (1, 2)]
    assert [told["adjusted"] for told in facts] == ["no", "yes"]
    assert {told["location"] for told in facts} == {"Filter gallery, panel FG-2"}
    assert {told["sample_point"] for told in facts} == {"Settled water, tap S-4"}
    assert records["L1-2026-0001"].values["as_found.B7-4471.error"] == "-0.016"


def test_answers_carry_the_unit_of_the_analyzer(tmp_path: Path) -> None:
    record = record_in(plant_in(tmp_path / "p"), "grab 6")
    units = {entry.path: entry.unit for entry in record.entries}
    assert units["online.0.shown"] == units["online.0.control_system"] == "NTU"


def test_a_performer_does_not_accept_the_tolerance_he_is_judged_by(here: Path) -> None:
    """Bottles and ranges anybody may accept; tolerances and people a reviewer."""
    change(here, "analyzers.toml", 'high = "0.10"', 'high = "0.40"')
    with pytest.raises(ChooseAnother) as caught:
        acts.accept(plant_of(here), "T-07", "it failed", NOW)
    assert caught.value.message == (
        "Ines Quarrow (T-07) may not accept tolerance error of AIT-2101: high (0.10 to 0.40): who performs "
        "does not set what it is judged by; a reviewer accepts it (may_review in people.toml)."
    )
    assert acts.accept(plant_of(here), "S-02", "letter of the State", NOW)
    change(here, "standards_on_hand.toml", 'lot = "4471"', 'lot = "4472"')
    assert acts.accept(plant_of(here), "T-07", "a new lot", NOW)
