"""The strict check: a good file is good, and each way of tampering is named."""

from __future__ import annotations

import io
import random
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest
import small_pdf as small
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.pdf_utils.writer import copy_into_new_writer
from small_pdf import AUTHORITY, NOW, OWN, TECHNICIAN, SmallPlant, page, small_plant, with_fields

from wqverify.errors import RepairTheFolder, ResultsDiffer
from wqverify.signing.authority import issue, withdraw
from wqverify.signing.examine import (
    COUNTERSIGNED,
    NOT_COUNTERSIGNED,
    NOT_SIGNED,
    UNREADABLE,
    Examination,
    attachments_of,
    examine,
)

PAGE = page()
NOT_PROVEN = "The certificate of the plant is not at hand: who signed is not proven."
CUT_OFF = "The file is cut off or damaged: it cannot be read to its end."
MIRA, JON = "Mira Okafor (T-017)", "Jon Lindqvist (R-004)"
ADDED_TO = "After {} signed as {}, something other than a countersignature was added."
CHANGED = "Bytes that {} signed as {} were changed afterwards."
BETWEEN = "Something was added between the page as it was made and the last signature."
MORE = "More than the signatures was added to the page or its properties."

Files = dict[str, bytes]


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> SmallPlant:
    return small_plant(tmp_path_factory.mktemp("examine"))


@pytest.fixture(scope="module")
def rogue(tmp_path_factory: pytest.TempPathFactory) -> SmallPlant:
    """An authority of the same names, with people of the same names."""
    return small_plant(tmp_path_factory.mktemp("rogue"))


@pytest.fixture(scope="module")
def signed(plant: SmallPlant) -> bytes:
    return plant.signed(PAGE)


@pytest.fixture(scope="module")
def reviewed(plant: SmallPlant, signed: bytes) -> bytes:
    return plant.reviewed(signed)


def damage(found: Examination) -> list[str]:
    return [finding.text for finding in found.findings if finding.severity == "damaged"]


def notes(found: Examination) -> list[str]:
    return [finding.text for finding in found.findings if finding.severity == "note"]


# ---------------------------------------------------------------- good files


def test_a_page_that_is_not_signed(plant: SmallPlant) -> None:
    for certificates in (plant.certificates, None):
        found = examine(PAGE, certificates)
        assert (found.state, found.signers, found.findings, found.damaged) == (NOT_SIGNED, (), (), False)
        assert found.page == PAGE
        assert sorted(found.attachments) == ["chart-1.svg", "executed.ipynb", "record.json"]


def test_a_file_cut_back_to_before_the_countersignature_is_honest(plant: SmallPlant, signed: bytes) -> None:
    """From the file alone it is an uncountersigned one; only the book knows better."""
    found = examine(signed, plant.certificates)
    assert (found.state, found.findings) == (NOT_COUNTERSIGNED, ())
    assert found.state == "signed by the performer, not countersigned"
    assert [tuple(s) for s in found.signers] == [
        ("Performer", "T-017", "Mira Okafor", "2026-03-01T13:00:00+00:00")
    ]


def test_a_countersigned_file(plant: SmallPlant, reviewed: bytes) -> None:
    found = examine(reviewed, plant.certificates)
    assert (found.state, found.findings, found.damaged) == (COUNTERSIGNED, (), False)
    assert found.state == "signed and countersigned"
    assert [s.role for s in found.signers] == ["Performer", "Reviewer"]
    assert found.signers[1] == ("Reviewer", "R-004", "Jon Lindqvist", "2026-03-01T14:00:00+00:00")
    assert found.page == PAGE
    assert found.attachments == attachments_of(PAGE)
    assert found.places == {"Performer": (1, (20, 150, 180, 200)), "Reviewer": (1, (200, 150, 360, 200))}


def test_without_the_plant_who_signed_is_not_proven(reviewed: bytes) -> None:
    found = examine(reviewed, None)
    assert (found.state, damage(found), notes(found)) == (COUNTERSIGNED, [], [NOT_PROVEN])
    assert not found.damaged


def test_a_page_with_a_link_on_it_keeps_it(plant: SmallPlant) -> None:
    """The fields join the annotations that the page had already."""
    made = page(source=small.PAGE + '\n#link("https://example.org")[a link]')
    both = plant.reviewed(plant.signed(made))
    assert b"/Link" in made
    assert examine(both, plant.certificates).findings == ()


# ---------------------------------------------------------------- changed after the last signature

TAMPERED: dict[str, tuple[Callable[[bytes], bytes], list[str]]] = {
    "one bit of the page": (
        lambda pdf: small.flipped(pdf, 1000),
        [CHANGED.format(MIRA, "performer"), CHANGED.format(JON, "reviewer")],
    ),
    "one bit of the record": (
        lambda pdf: small.flipped(pdf, PAGE.index(b'"FAIL"') + 1),
        [CHANGED.format(MIRA, "performer"), CHANGED.format(JON, "reviewer")],
    ),
    "one bit of where the record is": (
        lambda pdf: small.flipped(pdf, PAGE.index(b"/EF") + 1),
        [
            "The pages or attachments of the file cannot be read.",
            CHANGED.format(MIRA, "performer"),
            CHANGED.format(JON, "reviewer"),
        ],
    ),
    "junk after the end": (
        lambda pdf: pdf + b"\n% hi\n",
        ["Behind the end of the last signature 6 bytes were added."],
    ),
    "one byte after the end": (
        lambda pdf: pdf + b"\n",
        ["Behind the end of the last signature 1 byte was added."],
    ),
    "record.json replaced": (
        small.attachment_replaced,
        [
            "Behind the end of the last signature {} bytes were added.",
            "The attachment record.json was replaced after the page was made.",
            ADDED_TO.format(MIRA, "performer"),
            ADDED_TO.format(JON, "reviewer"),
        ],
    ),
    "attachment added": (
        small.attachment_added,
        [
            "Behind the end of the last signature {} bytes were added.",
            "The attachment zz.json was added after the page was made.",
            ADDED_TO.format(MIRA, "performer"),
            ADDED_TO.format(JON, "reviewer"),
        ],
    ),
    "page painted over": (
        small.painted_over,
        [
            "Behind the end of the last signature {} bytes were added.",
            "Page 1 was painted over after it was made.",
            ADDED_TO.format(MIRA, "performer"),
            ADDED_TO.format(JON, "reviewer"),
        ],
    ),
    "note stuck on": (
        small.note_stuck_on,
        [
            "Behind the end of the last signature {} bytes were added.",
            ADDED_TO.format(MIRA, "performer"),
            ADDED_TO.format(JON, "reviewer"),
        ],
    ),
    "title changed": (
        small.title_changed,
        ["Behind the end of the last signature {} bytes were added."],
    ),
}


@pytest.mark.parametrize("how", TAMPERED)
def test_a_change_after_signing_is_named(plant: SmallPlant, reviewed: bytes, how: str) -> None:
    change, expected = TAMPERED[how]
    tampered = change(reviewed)
    sentences = [text.format(len(tampered) - len(reviewed)) for text in expected]
    found = examine(tampered, plant.certificates)
    assert (found.state, damage(found)) == (COUNTERSIGNED, sentences)
    alone = examine(tampered, None)
    assert (damage(alone), notes(alone)) == (sentences, [NOT_PROVEN])


def test_attachments_are_those_that_were_signed(plant: SmallPlant, reviewed: bytes) -> None:
    """Any other tool hands out the replaced one."""
    tampered = small.attachment_replaced(reviewed)
    assert b"FAIL" in examine(tampered, plant.certificates).attachments["record.json"]
    assert attachments_of(tampered) == attachments_of(PAGE)


def test_a_file_written_anew_with_another_record(plant: SmallPlant, reviewed: bytes) -> None:
    """Saved by an editor as a new file: the signatures no longer fit, whatever the page shows."""
    writer = copy_into_new_writer(PdfFileReader(io.BytesIO(reviewed)))
    out = io.BytesIO()
    writer.write(out)
    found = examine(out.getvalue(), plant.certificates)
    assert found.damaged
    assert found.page != PAGE


# ---------------------------------------------------------------- changed between or before the signatures


def test_the_record_swapped_between_the_two_signatures(plant: SmallPlant, signed: bytes) -> None:
    swapped = plant.forced(small.attachment_replaced(signed), "Reviewer", "R-004")
    found = examine(swapped, plant.certificates)
    assert damage(found) == [
        BETWEEN,
        "The attachment record.json was replaced after the page was made.",
        ADDED_TO.format(MIRA, "performer"),
    ]
    assert b"FAIL" in found.attachments["record.json"]


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (small.painted_over, "Page 1 was painted over after it was made."),
        (small.attachment_replaced, "The attachment record.json was replaced after the page was made."),
        (small.attachment_added, "The attachment zz.json was added after the page was made."),
        (small.note_stuck_on, MORE),
        (small.title_changed, MORE),
    ],
)
def test_a_performer_who_changes_the_page_before_signing_it(
    plant: SmallPlant, change: Callable[[bytes], bytes], named: str
) -> None:
    """The signature is good, the page as made still stands in the file, and yet another one is shown."""
    for prepared in (with_fields(change(PAGE) + b"\n"), change(with_fields(PAGE))):
        found = examine(plant.forced(prepared, "Performer", "T-017"), plant.certificates)
        assert damage(found) == [BETWEEN, named]
        assert found.page == PAGE


def test_an_unsigned_page_that_was_changed(plant: SmallPlant) -> None:
    assert damage(examine(PAGE + b"x", None)) == ["Behind the end of the page 1 byte was added."]
    tampered = small.attachment_replaced(PAGE)
    assert damage(examine(tampered, plant.certificates)) == [
        f"Behind the end of the page {len(tampered) - len(PAGE)} bytes were added.",
        "The attachment record.json was replaced after the page was made.",
    ]


def test_fields_without_a_signature(plant: SmallPlant) -> None:
    prepared = with_fields(PAGE)
    assert damage(examine(prepared, plant.certificates)) == [
        f"Behind the end of the page {len(prepared) - len(PAGE)} bytes were added.",
        "The signature fields are not those of a record (found: Performer, Reviewer).",
    ]


def test_a_stamp_as_large_as_the_page_is_seen_by_its_place(
    plant: SmallPlant, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing in the file itself is wrong with it; whoever knows the record knows where it belongs."""
    monkeypatch.setitem(small.PLACES, "Performer", (0, (0, 0, 400, 300)))
    found = examine(plant.signed(PAGE), plant.certificates)
    assert found.findings == ()
    assert found.places["Performer"] == (0, (0, 0, 400, 300))


# ---------------------------------------------------------------- who signed


def test_the_performer_signs_in_the_place_of_the_reviewer(plant: SmallPlant, signed: bytes) -> None:
    found = examine(plant.forced(signed, "Reviewer", "T-017"), plant.certificates)
    assert damage(found) == [f"{MIRA} signed as performer and as reviewer; these must be two people."]


def test_somebody_else_signs_as_performer(plant: SmallPlant) -> None:
    found = examine(plant.forced(with_fields(PAGE), "Performer", "R-004"), plant.certificates)
    assert damage(found) == [f"{JON} signed as performer; the record was performed by T-017."]


def test_only_the_reviewer_signed(plant: SmallPlant) -> None:
    found = examine(plant.forced(with_fields(PAGE), "Reviewer", "R-004"), plant.certificates)
    assert found.state == NOT_SIGNED
    assert damage(found) == ["A record is signed as Performer, then as Reviewer; this file as Reviewer."]


def test_a_performer_who_does_not_certify(plant: SmallPlant, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the certification, readers would take any later change for an ordinary edit."""
    prepared = with_fields(PAGE)
    monkeypatch.setattr("wqverify.signing.sign.PERFORMER", "nobody who certifies")
    loose = plant.forced(prepared, "Performer", "T-017")
    assert damage(examine(loose, plant.certificates)) == [
        f"The signature of {MIRA} does not lock the record."
    ]


NOT_ISSUED = (
    "The certificate with which {} signed as {} on 2026-03-01 {}:00:00 UTC was not issued by this plant's "
    "authority, whatever names it carries."
)


def test_a_rogue_authority_with_the_same_names(plant: SmallPlant, rogue: SmallPlant) -> None:
    forged = rogue.reviewed(rogue.signed(PAGE))
    found = examine(forged, plant.certificates)
    assert damage(found) == [
        NOT_ISSUED.format(MIRA, "performer", 13),
        NOT_ISSUED.format(JON, "reviewer", 14),
    ]
    alone = examine(forged, None)  # nothing in the file tells it from a good one
    assert (damage(alone), notes(alone)) == ([], [NOT_PROVEN])


def test_a_rogue_reviewer(plant: SmallPlant, rogue: SmallPlant, signed: bytes) -> None:
    forged = rogue.forced(signed, "Reviewer", "R-004")
    assert damage(examine(forged, plant.certificates)) == [NOT_ISSUED.format(JON, "reviewer", 15)]
    alone = examine(forged, None)
    assert damage(alone) == ["The two signatures come from two different authorities."]
    assert notes(alone) == [NOT_PROVEN]


# ---------------------------------------------------------------- keys withdrawn or over

AT = NOW + timedelta(days=2)


@pytest.mark.parametrize(("seconds", "good"), [(-1, True), (0, False), (1, False), (None, True)], ids=str)
def test_a_signature_around_the_withdrawal_of_its_key(
    tmp_path: Path, seconds: int | None, good: bool
) -> None:
    """Just before, at, just after, and with nothing withdrawn."""
    plant = small_plant(tmp_path)
    at = AT + timedelta(seconds=seconds or 0)
    pdf = plant.signed(PAGE, at=at)
    if seconds is not None:
        withdraw(plant.certificates, plant.store, "T-017", AUTHORITY, AT, "laptop stolen")
    expected = (
        f"{MIRA} signed as performer on {at:%Y-%m-%d %H:%M:%S} UTC; the key had been withdrawn on "
        f"2026-03-03 12:00:00 UTC (laptop stolen)."
    )
    assert damage(examine(pdf, plant.certificates)) == ([] if good else [expected])


def test_a_withdrawal_concerns_one_key(tmp_path: Path) -> None:
    """The same person's next key, and other people's, stay good; so do signatures from before."""
    plant = small_plant(tmp_path)
    before = plant.reviewed(plant.signed(PAGE))
    withdraw(plant.certificates, plant.store, "T-017", AUTHORITY, AT, "laptop stolen")
    issue(plant.certificates, plant.store, TECHNICIAN, AUTHORITY, OWN, AT)
    after = plant.reviewed(plant.signed(PAGE, at=AT), at=AT)
    for pdf in (before, after):
        assert examine(pdf, plant.certificates).findings == ()


def test_without_the_plant_a_withdrawal_is_not_seen(tmp_path: Path) -> None:
    plant = small_plant(tmp_path)
    pdf = plant.signed(PAGE, at=AT)
    withdraw(plant.certificates, plant.store, "T-017", AUTHORITY, NOW, "laptop stolen")
    found = examine(pdf, None)
    assert (damage(found), notes(found)) == ([], [NOT_PROVEN])


ENDS = NOW.replace(year=2027)


@pytest.mark.parametrize(
    ("at", "good"),
    [
        (NOW - timedelta(seconds=1), False),
        (NOW, True),
        (ENDS, True),
        (ENDS + timedelta(seconds=1), False),
    ],
    ids=str,
)
def test_a_key_is_judged_at_the_time_of_the_signature(tmp_path: Path, at: datetime, good: bool) -> None:
    """A key that is over by now does not spoil what it signed while it held."""
    plant = small_plant(tmp_path, years=1)
    pdf = plant.forced(with_fields(PAGE), "Performer", "T-017", at=at)
    expected = (
        f"{MIRA} signed as performer on {at:%Y-%m-%d %H:%M:%S} UTC; the key holds from 2026-03-01 12:00 to "
        f"2027-03-01 12:00 UTC only."
    )
    for certificates in (plant.certificates, None):
        assert damage(examine(pdf, certificates)) == ([] if good else [expected])


def test_an_incomplete_certificates_folder(tmp_path: Path, signed: bytes) -> None:
    with pytest.raises(RepairTheFolder, match="This plant has no authority yet"):
        examine(signed, tmp_path)
    plant = small_plant(tmp_path)
    (plant.certificates / "withdrawn.crl").unlink()
    with pytest.raises(RepairTheFolder, match="so nobody can tell whether a key was withdrawn"):
        examine(signed, plant.certificates)


# ---------------------------------------------------------------- what is no record


@pytest.mark.parametrize(
    ("pdf", "sentence"),
    [
        (b"", "The file is not a PDF."),
        (b"PK\x03\x04 a document of another kind", "The file is not a PDF."),
        (b"%PDF-1.7\n", CUT_OFF),
        (PAGE[:-10], CUT_OFF),
        (PAGE[: len(PAGE) // 2], CUT_OFF),
        (b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\nxref\n0 1\ntrailer\n<<>>\nstartxref\n29\n%%EOF", CUT_OFF),
    ],
)
def test_what_cannot_be_read(pdf: bytes, sentence: str) -> None:
    found = examine(pdf, None)
    assert (found.state, damage(found), found.attachments) == (UNREADABLE, [sentence], {})


def test_an_encrypted_pdf() -> None:
    writer = copy_into_new_writer(PdfFileReader(io.BytesIO(PAGE)))
    writer.encrypt(owner_pass="owner", user_pass="user")
    out = io.BytesIO()
    writer.write(out)
    assert damage(examine(out.getvalue(), None)) == [
        "The file is encrypted; a record is not: take it as it came from the plant."
    ]


def test_a_pdf_without_a_record() -> None:
    other = page(source=small.PAGE.replace("record.json", "other.json"))
    assert damage(examine(other, None)) == ["The file holds no record.json; it is not a record."]


@pytest.mark.parametrize("record", [{}, {"number": "L1-2026-0001"}])
def test_a_record_that_is_none(record: dict[str, str]) -> None:
    assert damage(examine(page(record), None)) == ["The record.json in the file is not a record."]


def test_attachments_of_what_cannot_be_read() -> None:
    with pytest.raises(ResultsDiffer, match="The file cannot be read as a PDF; put the right copy back"):
        attachments_of(b"%PDF-1.7\n")


def test_every_bit_counts(plant: SmallPlant, reviewed: bytes) -> None:
    """Bits over the whole file, and digits of the signatures that no signature covers."""
    start = reviewed.rindex(b"/Contents <") + len(b"/Contents <")
    chance = random.Random(2026)
    positions = [chance.randrange(len(reviewed)) for _ in range(150)]
    positions += [start + chance.randrange(4000) for _ in range(100)]
    missed = [at for at in positions if not examine(small.flipped(reviewed, at), plant.certificates).damaged]
    assert missed == []


def test_the_wrapping_of_a_signature_is_held_to_its_bytes(plant: SmallPlant, reviewed: bytes) -> None:
    """No signature covers it and readers do not mind: a name in capitals, a digit, the padding, a version."""
    start = reviewed.rindex(b"/Contents <") + len(b"/Contents <")
    end = reviewed.index(b">", start)
    name = reviewed.rindex(
        b"Record authority".hex().upper().encode(), start, reviewed.index(b"0" * 99, start)
    )
    issuer = reviewed.rindex(b"Record authority".hex().upper().encode(), start, name)
    version = start + 2 * 25
    for at, digit in (
        (issuer, b"7"),  # r, not R
        (issuer + 14, b"4"),  # A, not a
        (version, b"00"),
        (end - 1, b"1"),
        (start + reviewed[start:end].index(b"A"), b"a"),
    ):
        changed = reviewed[:at] + digit + reviewed[at + len(digit) :]
        assert changed != reviewed
        sentences = damage(examine(changed, plant.certificates))
        assert sentences == [f"The wrapping of the signature of {JON} as reviewer was changed."], at


def test_every_cut_is_seen(plant: SmallPlant, signed: bytes, reviewed: bytes) -> None:
    """A file cut anywhere but at the end of a signature is damaged, and never an error of ours."""
    ends = {len(PAGE), len(signed), len(reviewed)}
    cuts = [*range(0, len(reviewed), 173), *ends, *(end - 1 for end in ends), len(PAGE) + 2]
    for cut in cuts:
        assert examine(reviewed[:cut], plant.certificates).damaged is (cut not in ends), cut
