"""Signing: what it adds to a page, what it leaves alone, whom it refuses."""

from __future__ import annotations

import io
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import MDPPerm
from pyhanko.sign.validation import EmbeddedPdfSignature
from small_pdf import (
    AUTHORITY,
    NOW,
    OWN,
    PLACES,
    TECHNICIAN,
    SmallPlant,
    attachment_added,
    flipped,
    page,
    small_plant,
    stamp,
)

from wqverify.errors import ChooseAnother, CorrectTheEntry, RepairTheFolder, ResultsDiffer, WqverifyError
from wqverify.show.wording import PERFORMER_MEANING, REVIEWER_MEANING
from wqverify.signing.authority import issue, withdraw
from wqverify.signing.certificates import authority_of, fingerprint
from wqverify.signing.examine import attachments_of
from wqverify.signing.keys import KeyStore
from wqverify.signing.sign import sign_as_performer
from wqverify.terms import Person

PAGE = page()


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> SmallPlant:
    return small_plant(tmp_path_factory.mktemp("signing"))


@pytest.fixture(scope="module")
def signed(plant: SmallPlant) -> bytes:
    return plant.signed(PAGE)


@pytest.fixture(scope="module")
def reviewed(plant: SmallPlant, signed: bytes) -> bytes:
    return plant.reviewed(signed)


def signatures(pdf: bytes) -> list[EmbeddedPdfSignature]:
    return list(PdfFileReader(io.BytesIO(pdf)).embedded_signatures)


def told(act: Callable[[], object], kind: type[WqverifyError]) -> str:
    """Return the sentence of a refusal, which never holds a passphrase."""
    with pytest.raises(kind) as caught:
        act()
    assert OWN.decode() not in caught.value.message
    return caught.value.message


# ---------------------------------------------------------------- what it adds


def test_each_signature_keeps_all_bytes_before_it(signed: bytes, reviewed: bytes) -> None:
    assert signed.startswith(PAGE)
    assert reviewed.startswith(signed)
    assert attachments_of(PAGE) == attachments_of(signed) == attachments_of(reviewed)
    assert sorted(attachments_of(PAGE)) == ["chart-1.svg", "executed.ipynb", "record.json"]


def test_a_signature_says_what_it_means_and_when(reviewed: bytes) -> None:
    performer, reviewer = signatures(reviewed)
    assert (performer.field_name, reviewer.field_name) == ("Performer", "Reviewer")
    assert performer.sig_object["/Reason"] == PERFORMER_MEANING
    assert reviewer.sig_object["/Reason"] == REVIEWER_MEANING
    assert performer.self_reported_timestamp == NOW + timedelta(hours=1)
    assert reviewer.self_reported_timestamp == NOW + timedelta(hours=2)
    assert {s.sig_object["/SubFilter"] for s in (performer, reviewer)} == {"/ETSI.CAdES.detached"}


def test_the_performer_certifies_and_the_reviewer_does_not(reviewed: bytes) -> None:
    performer, reviewer = signatures(reviewed)
    assert performer.docmdp_level is MDPPerm.FILL_FORMS
    assert reviewer.docmdp_level is None


def test_the_time_is_the_one_handed_over(plant: SmallPlant) -> None:
    """Not the clock's: to the second, with the offset it was given in."""
    at = datetime(2031, 7, 1, 22, 15, 30, 999_999, tzinfo=timezone(timedelta(hours=-5)))
    (signature,) = signatures(plant.signed(PAGE, at=at))
    assert signature.sig_object["/M"] == "D:20310701221530-05'00'"
    assert signature.self_reported_timestamp == at.replace(microsecond=0)


def test_both_places_are_there_before_anybody_signs(signed: bytes) -> None:
    """A field added after the certification would break it."""
    form = PdfFileReader(io.BytesIO(signed)).root["/AcroForm"]["/Fields"]
    boxes = {str(form[i]["/T"]): [int(edge) for edge in form[i]["/Rect"]] for i in range(len(form))}
    assert boxes == {"Performer": [20, 150, 180, 200], "Reviewer": [200, 150, 360, 200]}
    assert "/V" not in form[1]


def test_a_stamp_is_seen_at_each_place(reviewed: bytes) -> None:
    for signature in signatures(reviewed):
        shown = signature.sig_field["/AP"]["/N"]
        assert b"Do" in shown.data
        assert len(shown["/Resources"]["/XObject"]) == 1


def test_the_page_stays_what_it_was_made_as(reviewed: bytes) -> None:
    """PDF 1.7 and the same metadata, or the page were no longer made as PDF/A-3."""
    made, now = PdfFileReader(io.BytesIO(PAGE)), PdfFileReader(io.BytesIO(reviewed))
    assert "/Version" not in now.root
    assert now.input_version == made.input_version == (1, 7)
    assert now.root["/Metadata"].data == made.root["/Metadata"].data
    assert now.trailer["/Info"] == made.trailer["/Info"]


@pytest.fixture
def pdfsig() -> str:
    """A second reader of signatures; .ci/run installs it, and fails when this test is skipped."""
    found = shutil.which("pdfsig")
    if found is None or shutil.which("certutil") is None:
        pytest.skip("pdfsig and certutil (poppler-utils, libnss3-tools) are not on this computer")
    return found


def test_a_second_reader_agrees(
    pdfsig: str, plant: SmallPlant, signed: bytes, reviewed: bytes, tmp_path: Path
) -> None:
    database = f"sql:{tmp_path}"
    certificate = str(plant.certificates / "authority.pem")
    trust = ["-A", "-d", database, "-n", "plant", "-t", "CT,CT,CT", "-i", certificate]
    subprocess.run(["certutil", "-N", "-d", database, "--empty-password"], check=True)
    subprocess.run(["certutil", *trust], check=True)

    def says(pdf: bytes) -> str:
        path = tmp_path / "page.pdf"
        path.write_bytes(pdf)
        command = [pdfsig, "-nssdir", database, str(path)]
        return subprocess.run(command, capture_output=True, text=True, check=False).stdout

    both = says(reviewed)
    assert both.count("Signature is Valid.") == 2
    assert both.count("Certificate is Trusted.") == 2
    assert both.count("Total document signed") == 1
    assert "Signature is Valid." in says(signed)
    assert "Signature is Valid." not in says(flipped(signed, 1000))


# ---------------------------------------------------------------- whom it refuses


def test_a_wrong_passphrase_gets_one_sentence(
    plant: SmallPlant, capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    with pytest.raises(CorrectTheEntry) as caught:
        sign_as_performer(
            PAGE, plant.store, plant.certificates, "T-017", b"not these", PLACES, stamp("x"), NOW
        )
    assert caught.value.message == (
        "This passphrase does not open the key of T-017; nothing was done. Type it again."
    )
    assert caught.value.__suppress_context__
    assert capfd.readouterr() == ("", "")
    assert not caplog.records


def test_a_key_that_is_elsewhere(plant: SmallPlant, tmp_path: Path) -> None:
    there = replace(plant, store=KeyStore(tmp_path))
    message = told(lambda: there.signed(PAGE), RepairTheFolder)
    assert message.startswith("The key of T-017 for this plant is not on this computer (")


def test_only_the_performer_signs_as_performer(plant: SmallPlant) -> None:
    assert told(lambda: plant.signed(PAGE, who="R-004"), ChooseAnother) == (
        "The record was performed by T-017; R-004 cannot sign it as performed."
    )


def test_the_reviewer_is_another_person(plant: SmallPlant, signed: bytes) -> None:
    assert told(lambda: plant.reviewed(signed, who="T-017"), ChooseAnother) == (
        "T-017 signed the record as its performer; the reviewer is another person."
    )


def test_nothing_is_signed_twice_or_out_of_turn(plant: SmallPlant, signed: bytes, reviewed: bytes) -> None:
    performer, both = "signed by the performer, not countersigned", "signed and countersigned"
    for act, found, wanted in (
        (lambda: plant.signed(signed), performer, "not signed"),
        (lambda: plant.signed(reviewed), both, "not signed"),
        (lambda: plant.reviewed(PAGE), "not signed", performer),
        (lambda: plant.reviewed(reviewed), both, performer),
    ):
        message = told(act, ChooseAnother)
        assert message == f"The file is {found}; this signature belongs on one that is {wanted}."


def test_nothing_damaged_is_signed(plant: SmallPlant, signed: bytes) -> None:
    message = told(lambda: plant.reviewed(attachment_added(signed)), ResultsDiffer)
    assert message.startswith("The file is not signed, because it is not as it was made: ")
    assert "The attachment zz.json was added after the page was made." in message
    assert "The record.json in the file is not a record." in told(
        lambda: plant.signed(page({"no": "record"})), ResultsDiffer
    )
    assert "The file is not a PDF." in told(lambda: plant.signed(b""), ResultsDiffer)


def test_a_withdrawn_key_signs_no_more(tmp_path: Path) -> None:
    plant = small_plant(tmp_path)
    withdraw(plant.certificates, plant.store, "T-017", AUTHORITY, NOW, "laptop stolen")
    assert told(lambda: plant.signed(PAGE), ChooseAnother) == (
        "The key of T-017 was withdrawn on 2026-03-01 (laptop stolen); nothing was signed. Have another "
        "issued by `wqverify people add`."
    )
    issue(plant.certificates, plant.store, TECHNICIAN, AUTHORITY, OWN, NOW)
    assert len(signatures(plant.signed(PAGE))) == 1


@pytest.mark.parametrize(("seconds", "good"), [(-1, False), (0, True), (0.9, True), (3653 * 86400, True)])
def test_a_key_holds_from_its_first_second_to_its_last(plant: SmallPlant, seconds: float, good: bool) -> None:
    at = NOW + timedelta(seconds=seconds)
    if good:
        assert signatures(plant.signed(PAGE, at=at))[0].self_reported_timestamp == at.replace(microsecond=0)
    else:
        told(lambda: plant.signed(PAGE, at=at), ChooseAnother)


def test_a_key_that_is_over(plant: SmallPlant) -> None:
    at = NOW + timedelta(days=3653, minutes=1)
    assert told(lambda: plant.signed(PAGE, at=at), ChooseAnother) == (
        "The key of T-017 holds from 2026-03-01 12:00 to 2036-03-01 12:00 UTC, and this computer's clock "
        "says 2036-03-01 12:01 UTC; nothing was signed. Set the clock right or have a new key issued by "
        "`wqverify people replace`."
    )


def test_a_key_of_somebody_else_under_this_name(tmp_path: Path) -> None:
    plant = small_plant(tmp_path)
    folder = fingerprint(authority_of(plant.certificates))
    plant.store.write(folder, "T-017", plant.store.read(folder, "R-004"))
    assert told(lambda: plant.signed(PAGE), ChooseAnother) == (
        "The key kept for T-017 on this computer was not issued to T-017 by this plant's authority; nothing "
        "was signed. Have one issued by `wqverify people add`."
    )


def test_a_key_of_another_authority_under_this_one(tmp_path: Path) -> None:
    plant, rogue = small_plant(tmp_path / "ours"), small_plant(tmp_path / "rogue")
    stolen = rogue.store.read(fingerprint(authority_of(rogue.certificates)), "T-017")
    plant.store.write(fingerprint(authority_of(plant.certificates)), "T-017", stolen)
    assert "was not issued to T-017 by this plant's authority" in told(
        lambda: plant.signed(PAGE), ChooseAnother
    )


def test_names_from_everywhere(tmp_path: Path) -> None:
    plant = small_plant(tmp_path, "Ellodale – Wasserwerk Süd")
    person = Person("W.9-x", "Žofie Ångström 水", may_review=True)
    issue(plant.certificates, plant.store, person, AUTHORITY, OWN, NOW)
    assert len(signatures(plant.reviewed(plant.signed(PAGE), who="W.9-x"))) == 2
