"""The plant authority: what it issues, what it refuses, what a withdrawal leaves behind."""

from __future__ import annotations

import errno
import os
import ssl
import stat
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat, pkcs12
from cryptography.x509.oid import NameOID
from small_pdf import AUTHORITY, NOW, OWN, SUPERVISOR, TECHNICIAN, SmallPlant, small_plant

from wqverify.errors import ChooseAnother, CorrectTheEntry, CouldNotRun, RepairTheFolder, WqverifyError
from wqverify.signing.authority import create_authority, issue, standing, withdraw
from wqverify.signing.certificates import (
    authority_of,
    certificate_of,
    fingerprint,
    holder,
    issued_by,
    withdrawal_list,
    withdrawals_of,
)
from wqverify.signing.keys import KeyStore
from wqverify.terms import Person

LATER = NOW + timedelta(days=30)


@pytest.fixture
def plant(tmp_path: Path) -> SmallPlant:
    return small_plant(tmp_path)


def certificate(plant: SmallPlant, name: str) -> x509.Certificate:
    found = certificate_of(plant.certificates, name)
    assert found is not None
    return found


def told(act: object, kind: type[WqverifyError]) -> str:
    """Return the sentence of a refusal, which never holds a passphrase."""
    with pytest.raises(kind) as caught:
        act()  # type: ignore[operator]
    for secret in (AUTHORITY, OWN, b"not these words"):
        assert secret.decode() not in caught.value.message
    return caught.value.message


# ---------------------------------------------------------------- certificates


def test_the_authority_vouches_for_itself_for_twenty_years(plant: SmallPlant) -> None:
    made = authority_of(plant.certificates)
    assert issued_by(made, made)
    assert (made.not_valid_before_utc, made.not_valid_after_utc) == (NOW, NOW.replace(year=2046))
    key = made.public_key()
    assert isinstance(key, ec.EllipticCurvePublicKey)
    assert key.curve.name == "secp256r1"
    limits = made.extensions.get_extension_for_class(x509.BasicConstraints)
    assert (limits.critical, limits.value.ca, limits.value.path_length) == (True, True, 0)
    assert used_for(made) == {"key_cert_sign", "crl_sign"}
    assert not list(withdrawal_list(plant.certificates, made))


def used_for(found: x509.Certificate) -> set[str]:
    usage = found.extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.critical
    names = "digital_signature content_commitment key_encipherment data_encipherment key_agreement"
    return {name for name in (*names.split(), "key_cert_sign", "crl_sign") if getattr(usage.value, name)}


def test_a_person_is_named_with_plant_and_staff_id(plant: SmallPlant) -> None:
    issued, authority = certificate(plant, "T-017"), authority_of(plant.certificates)
    assert issued_by(issued, authority)
    assert holder(issued) == ("T-017", "Mira Okafor")
    assert issued.subject.get_attributes_for_oid(NameOID.ORGANIZATION_NAME)[0].value == "Ellodale"
    assert used_for(issued) == {"digital_signature", "content_commitment"}
    assert not issued.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    with pytest.raises(x509.ExtensionNotFound):  # with documentSigning alone, NSS readers refuse it
        issued.extensions.get_extension_for_class(x509.ExtendedKeyUsage)
    of_issuer = issued.extensions.get_extension_for_class(x509.AuthorityKeyIdentifier).value
    of_authority = authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    assert of_issuer.key_identifier == of_authority.digest


def test_an_authority_with_the_same_names_did_not_issue_it(plant: SmallPlant, tmp_path: Path) -> None:
    other = authority_of(small_plant(tmp_path / "other").certificates)
    assert other.subject == authority_of(plant.certificates).subject
    assert not issued_by(certificate(plant, "T-017"), other)


def test_a_key_ends_with_its_authority(plant: SmallPlant) -> None:
    issue(plant.certificates, plant.store, Person("T-020", "Ada Quill"), AUTHORITY, OWN, LATER, years=30)
    ends = authority_of(plant.certificates).not_valid_after_utc
    assert certificate(plant, "T-020").not_valid_after_utc == ends
    message = told(
        lambda: issue(
            plant.certificates, plant.store, Person("T-021", "Bo Tern"), AUTHORITY, OWN, ends, years=1
        ),
        CorrectTheEntry,
    )
    assert message.startswith("A key of T-021 cannot be issued for 1 years: it must hold for a year or more")


@pytest.mark.parametrize("years", [0, -1])
def test_a_key_holds_for_a_year_or_more(plant: SmallPlant, years: int) -> None:
    with pytest.raises(CorrectTheEntry, match=f"cannot be issued for {years} years"):
        issue(plant.certificates, plant.store, Person("T-020", "Ada Quill"), AUTHORITY, OWN, NOW, years)


@pytest.mark.parametrize("length", [1, 63, 64])
def test_names_that_a_certificate_can_hold(tmp_path: Path, length: int) -> None:
    plant = small_plant(tmp_path, "E" * length)
    issue(plant.certificates, plant.store, Person("T-020", "Q" * length), AUTHORITY, OWN, NOW)
    assert holder(certificate(plant, "T-020"))[1] == "Q" * length


@pytest.mark.parametrize("length", [0, 65])
def test_names_that_a_certificate_cannot_hold(plant: SmallPlant, length: int) -> None:
    person = Person("T-020", "Q" * length)
    message = told(
        lambda: issue(plant.certificates, plant.store, person, AUTHORITY, OWN, NOW), CorrectTheEntry
    )
    assert f"has {length} characters; a name in a certificate has 1 to 64." in message


def test_a_staff_id_that_a_certificate_cannot_hold(plant: SmallPlant) -> None:
    person = Person("T_20", "Ada Quill")
    message = told(
        lambda: issue(plant.certificates, plant.store, person, AUTHORITY, OWN, NOW), CorrectTheEntry
    )
    assert message == (
        "The staff id 'T_20' cannot stand in a certificate: it may have letters, digits, point and hyphen. "
        "Give Ada Quill another one in people.toml."
    )


# ---------------------------------------------------------------- keys and passphrases


def test_keys_are_locked_and_for_their_owner_only(plant: SmallPlant) -> None:
    folder = plant.store.folder / fingerprint(authority_of(plant.certificates))
    assert sorted(path.name for path in folder.iterdir()) == ["R-004.p12", "T-017.p12", "authority.p12"]
    for path in folder.iterdir():
        with pytest.raises(ValueError, match="password"):
            pkcs12.load_key_and_certificates(path.read_bytes(), b"not these words")
        if os.name == "posix":
            assert stat.S_IMODE(path.stat().st_mode) == 0o600
    if os.name == "posix":
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_nothing_private_is_in_the_plant_folder(plant: SmallPlant) -> None:
    names = sorted(path.name for path in plant.certificates.iterdir())
    assert names == ["R-004.pem", "T-017.pem", "authority.pem", "withdrawn.crl"]
    assert all(b"PRIVATE" not in path.read_bytes() for path in plant.certificates.iterdir())


@pytest.mark.parametrize(("words", "good"), [("", False), ("1234567", False), ("12345678", True)])
def test_a_passphrase_has_at_least_eight_characters(plant: SmallPlant, words: str, good: bool) -> None:
    def act() -> None:
        issue(plant.certificates, plant.store, Person("T-020", "Ada Quill"), AUTHORITY, words.encode(), NOW)

    if good:
        act()
        assert standing(plant.certificates, "T-020", NOW) == "in force until 2036-03-01"
        return
    assert told(act, CorrectTheEntry) == (
        "The passphrase for the key of T-020 is too short; choose one of at least 8 characters."
    )
    assert standing(plant.certificates, "T-020", NOW) == "no key"


def test_characters_count_and_not_bytes(tmp_path: Path) -> None:
    message = told(
        lambda: create_authority(tmp_path, KeyStore(tmp_path / "k"), "Ellodale", "äöüßÄÖÜ".encode(), NOW),
        CorrectTheEntry,
    )
    assert message.startswith("The passphrase for the key of the plant authority is too short")


def test_a_wrong_passphrase_of_the_authority(plant: SmallPlant) -> None:
    sentence = (
        "This passphrase does not open the key of the plant authority; nothing was done. Type it again."
    )
    ada, wrong = Person("T-020", "Ada Quill"), b"not these words"
    folder, store = plant.certificates, plant.store
    assert told(lambda: issue(folder, store, ada, wrong, OWN, NOW), CorrectTheEntry) == sentence
    assert told(lambda: withdraw(folder, store, "T-017", wrong, NOW, "lost"), CorrectTheEntry) == sentence
    assert standing(folder, "T-020", NOW) == "no key"
    assert standing(folder, "T-017", NOW) == "in force until 2036-03-01"


def test_the_key_of_the_authority_is_on_another_computer(plant: SmallPlant, tmp_path: Path) -> None:
    elsewhere = KeyStore(tmp_path / "elsewhere")
    message = told(
        lambda: issue(plant.certificates, elsewhere, Person("T-020", "Ada Quill"), AUTHORITY, OWN, NOW),
        RepairTheFolder,
    )
    assert message.startswith("The key of authority for this plant is not on this computer (")
    assert message.endswith("go to the computer that holds it, or copy authority.p12 from there.")


# ---------------------------------------------------------------- one after the other


def test_a_second_authority_is_refused(plant: SmallPlant) -> None:
    before = (plant.certificates / "authority.pem").read_bytes()
    message = told(
        lambda: create_authority(plant.certificates, plant.store, "Ellodale", AUTHORITY, NOW), ChooseAnother
    )
    assert message == (
        "This plant has an authority already (certificates/authority.pem); a second one would disown what "
        "the first has issued. Nothing was done."
    )
    assert (plant.certificates / "authority.pem").read_bytes() == before


def test_without_an_authority_nothing_is_issued(tmp_path: Path) -> None:
    folder = tmp_path / "certificates"
    message = told(
        lambda: issue(folder, KeyStore(tmp_path / "keys"), TECHNICIAN, AUTHORITY, OWN, NOW), RepairTheFolder
    )
    assert message == (
        "This plant has no authority yet (certificates/authority.pem is missing); make it by "
        "`wqverify people authority`, or put the file back."
    )


def test_a_second_key_only_after_the_first_is_withdrawn_or_over(plant: SmallPlant) -> None:
    folder, store, first = plant.certificates, plant.store, certificate(plant, "T-017")
    message = told(lambda: issue(folder, store, TECHNICIAN, AUTHORITY, OWN, LATER), ChooseAnother)
    assert message == (
        "Mira Okafor (T-017) has a key in force until 2036-03-01; withdraw or replace it "
        "(`wqverify people replace T-017`) before another is issued."
    )
    withdraw(folder, store, "T-017", AUTHORITY, LATER, "new laptop")
    issue(folder, store, TECHNICIAN, AUTHORITY, OWN, LATER)
    second = certificate(plant, "T-017")
    assert second.serial_number != first.serial_number
    assert standing(folder, "T-017", LATER) == "in force until 2036-03-31"
    over = second.not_valid_after_utc + timedelta(seconds=1)
    assert standing(folder, "T-017", over) == "ended on 2036-03-31"
    issue(folder, store, TECHNICIAN, AUTHORITY, OWN, over)
    assert certificate(plant, "T-017").serial_number != second.serial_number


def test_a_withdrawal_keeps_date_and_reason(plant: SmallPlant) -> None:
    folder, store = plant.certificates, plant.store
    withdraw(folder, store, "T-017", AUTHORITY, LATER, "  laptop stolen at the Brackenmoot tank – 30 °C  ")
    withdraw(folder, store, "R-004", AUTHORITY, LATER + timedelta(days=1), "left the plant")
    gone = withdrawals_of(folder, authority_of(folder))
    first, second = (
        gone[certificate(plant, "T-017").serial_number],
        gone[certificate(plant, "R-004").serial_number],
    )
    assert (first.at, first.why) == (LATER, "laptop stolen at the Brackenmoot tank – 30 °C")
    assert (second.at, second.why) == (LATER + timedelta(days=1), "left the plant")
    assert standing(folder, "T-017", LATER) == "withdrawn on 2026-03-31"


def test_a_withdrawal_can_be_repeated_and_stays_as_it_was(plant: SmallPlant) -> None:
    folder, store = plant.certificates, plant.store
    withdraw(folder, store, "T-017", AUTHORITY, LATER, "stolen")
    before = (folder / "withdrawn.crl").read_bytes()
    withdraw(folder, store, "T-017", AUTHORITY, LATER + timedelta(days=9), "again")
    assert (folder / "withdrawn.crl").read_bytes() == before


@pytest.mark.parametrize("why", ["", "   "])
def test_a_withdrawal_needs_a_reason(plant: SmallPlant, why: str) -> None:
    message = told(
        lambda: withdraw(plant.certificates, plant.store, "T-017", AUTHORITY, LATER, why), CorrectTheEntry
    )
    assert message == "Say why the key of T-017 is withdrawn; the list and the book keep it."


def test_nobody_withdraws_a_key_that_is_not(plant: SmallPlant) -> None:
    message = told(
        lambda: withdraw(plant.certificates, plant.store, "T-999", AUTHORITY, LATER, "x"), ChooseAnother
    )
    assert message == "T-999 has no key that could be withdrawn (certificates/T-999.pem is missing)."


# ---------------------------------------------------------------- a folder that is not whole


def test_a_withdrawal_list_that_is_missing_or_cut_off(plant: SmallPlant) -> None:
    path, authority = plant.certificates / "withdrawn.crl", authority_of(plant.certificates)
    sentence = (
        "The withdrawal list certificates/withdrawn.crl cannot be read, so nobody can tell whether a key was "
        "withdrawn; put the newest copy back."
    )
    path.write_bytes(path.read_bytes()[:-1])
    assert told(lambda: withdrawals_of(plant.certificates, authority), RepairTheFolder) == sentence
    path.unlink()
    assert told(lambda: withdrawals_of(plant.certificates, authority), RepairTheFolder) == sentence


def test_a_withdrawal_list_of_somebody_else(plant: SmallPlant, tmp_path: Path) -> None:
    other = small_plant(tmp_path / "other").certificates / "withdrawn.crl"
    (plant.certificates / "withdrawn.crl").write_bytes(other.read_bytes())
    message = told(
        lambda: withdrawals_of(plant.certificates, authority_of(plant.certificates)), RepairTheFolder
    )
    assert message == (
        "The withdrawal list certificates/withdrawn.crl is not one the authority of this plant signed; "
        "put the newest right copy back."
    )


def test_a_certificate_that_cannot_be_read(plant: SmallPlant) -> None:
    (plant.certificates / "T-017.pem").write_text("-----BEGIN CERTIFICATE-----\n")
    message = told(lambda: certificate_of(plant.certificates, "T-017"), RepairTheFolder)
    assert message == (
        "certificates/T-017.pem is not a certificate that can be read; put the right copy back."
    )


def test_a_full_disk_leaves_what_was_there(plant: SmallPlant, monkeypatch: pytest.MonkeyPatch) -> None:
    before = (plant.certificates / "withdrawn.crl").read_bytes()

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr("os.fsync", full)
        message = told(
            lambda: withdraw(plant.certificates, plant.store, "T-017", AUTHORITY, LATER, "lost"), CouldNotRun
        )
    assert "could not be written (No space left on device); nothing was lost" in message
    assert (plant.certificates / "withdrawn.crl").read_bytes() == before
    assert not list(plant.certificates.glob("*.part"))
    withdraw(plant.certificates, plant.store, "T-017", AUTHORITY, LATER, "lost")
    assert standing(plant.certificates, "T-017", LATER) == "withdrawn on 2026-03-31"


def test_a_key_that_was_half_issued_is_issued_again(plant: SmallPlant) -> None:
    """A kill between key and certificate leaves a key that nobody vouches for in the folder."""
    (plant.certificates / "R-004.pem").unlink()
    issue(plant.certificates, plant.store, SUPERVISOR, AUTHORITY, OWN, LATER)
    assert standing(plant.certificates, "R-004", LATER) == "in force until 2036-03-31"


def test_the_room_opens_without_its_tools() -> None:
    script = (
        "import sys, wqverify.signing\nprint([m for m in ('cryptography', 'pyhanko') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_certificate_whose_key_is_damaged_inside(plant: SmallPlant) -> None:
    path = plant.certificates / "authority.pem"
    sound = authority_of(plant.certificates)
    point = sound.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    der = sound.public_bytes(Encoding.DER).replace(point, point[:-1] + bytes([point[-1] ^ 1]))
    path.write_text(ssl.DER_cert_to_PEM_cert(der), "ascii")  # a certificate still, of no point on its curve
    message = told(lambda: authority_of(plant.certificates), RepairTheFolder)
    assert message == (
        "certificates/authority.pem is not a certificate that can be read; put the right copy back."
    )
