"""What somebody with the files in hand could do to a record, its book and its plant folder, end to end.

Each attack is named in words by ``wqverify examine`` or ``wqverify book examine`` with exit code 1; what can
only be seen with a digest held outside is said to be out of sight without one.
"""

from __future__ import annotations

import io
import json
import shutil
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from plant_example import NOW, plant_in, sheet_of
from pyhanko.pdf_utils.generic import StreamObject, pdf_name
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from small_pdf import attachment_added, flipped, note_stuck_on, painted_over

from wqverify import acts
from wqverify.book import PREFIX
from wqverify.cli import main
from wqverify.plant.folder import open_plant
from wqverify.records.canonical import digest, record_from
from wqverify.show.page import make_page, signature_places, stamp_page
from wqverify.signing import sign as signing
from wqverify.signing.authority import create_authority, issue
from wqverify.signing.examine import attachments_of
from wqverify.signing.keys import KeyStore

pytestmark = pytest.mark.slow
SECRET = b"a long enough one"
ONE, TWO = "L1-2026-0001", "L1-2026-0002"
Command = Callable[..., tuple[int, str]]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant with a signed and countersigned record 0001 and a performed one, 0002."""
    folder = tmp_path_factory.mktemp("tampering")
    plant = plant_in(folder / "plant")
    acts.make_authority(plant, folder / "keys", SECRET, NOW)
    for staff in ("T-07", "T-11", "S-02"):
        acts.issue_key(plant, folder / "keys", staff, SECRET, SECRET, NOW)
    acts.perform(plant, [sheet_of(plant, "pass")], NOW)
    acts.sign(plant, [ONE], "T-07", folder / "keys", SECRET, NOW)
    acts.review(plant, [ONE], "S-02", folder / "keys", SECRET, NOW)
    acts.perform(plant, [sheet_of(plant, "fail")], NOW)
    return folder


@pytest.fixture
def plant(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "here")) / "plant"


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """Return a function that runs a command in a folder; it gives exit code and everything printed."""

    def run(where: Path, *words: object) -> tuple[int, str]:
        monkeypatch.chdir(where)
        monkeypatch.setattr(sys, "argv", ["wqverify", *(str(word) for word in words)])
        with pytest.raises(SystemExit) as ended:
            main()
        printed = capsys.readouterr()
        return int(str(ended.value.code)), printed.out + printed.err

    return run


def page_of(plant: Path, number: str = ONE) -> Path:
    return plant / "book" / "pages" / f"{number}.pdf"


def change(path: Path, how: Callable[[bytes], bytes]) -> None:
    path.write_bytes(how(path.read_bytes()))


def cut(pdf: bytes, signatures: int) -> bytes:
    """Return the file as it was with so many signatures."""
    reader = PdfFileReader(io.BytesIO(pdf))
    if not signatures:
        table = reader.xrefs.get_xref_container_info(0)
        return pdf[: pdf.index(b"%%EOF", table.end_location) + len(b"%%EOF")]
    last = list(reader.embedded_signatures)[signatures - 1].byte_range
    return pdf[: last[2] + last[3]]


def record_replaced(pdf: bytes, old: bytes = b"inside the", new: bytes = b"inside any") -> bytes:
    """Add an update, as any editor can, that puts a nicer record.json in the place of the first."""
    writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
    names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    pairs = {str(names[i]): names[i + 1] for i in range(0, len(names), 2)}
    files = pairs["record.json"]["/EF"]
    nicer = files["/F"].data.replace(old, new)
    assert nicer != files["/F"].data
    kind = {pdf_name("/Type"): pdf_name("/EmbeddedFile")}
    files["/F"] = files["/UF"] = writer.add_object(StreamObject(dict_data=kind, stream_data=nicer))
    writer.update_container(files)
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def book_changed(plant: Path, *statements: str, **values: object) -> None:
    """Change the book as the owner of the file can: take the triggers out, and put them back afterwards."""
    with sqlite3.connect(plant / "book" / "book.sqlite") as connection:
        triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _sql in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            assert connection.execute(statement, values).rowcount > 0
        for _name, sql in triggers:
            connection.execute(sql)
    connection.close()


def entry(plant: Path, event: str, number: str) -> tuple[int, str]:
    with sqlite3.connect(plant / "book" / "book.sqlite") as connection:
        found = connection.execute(
            "SELECT seq, entry FROM entries WHERE event = ? AND record = ?", (event, number)
        ).fetchone()
    connection.close()
    return int(found[0]), str(found[1])


# ---------------------------------------------------------------- nothing was done


def test_what_nobody_touched_is_not_accused(plant: Path, command: Command) -> None:
    code, said = command(plant, "examine", page_of(plant), page_of(plant, TWO))
    assert (code, "DAMAGED" in said) == (0, False), said
    assert "signed and countersigned" in said
    handed_out = plant / "handed out"
    shutil.copytree(plant / "book" / "pages", handed_out)
    code, said = command(plant, "book", "examine", "--pages", handed_out)
    assert (code, "DAMAGED" in said) == (0, False), said


def test_without_a_digest_held_outside_it_is_said_what_cannot_be_seen(plant: Path, command: Command) -> None:
    code, said = command(plant, "book", "examine")
    assert code == 0
    assert "No digest of L1 held outside this computer agrees or was given: entries removed" in said


# ---------------------------------------------------------------- the file


def damaged_in(command: Command, plant: Path, *, alone: bool = True) -> str:
    """Both examinations name damage, the file alone as well; returns what the one of the file says."""
    code, said = command(plant, "examine", page_of(plant))
    assert (code, "DAMAGED: " in said) == (1, True), said
    code, of_book = command(plant, "book", "examine")
    assert code == 1
    assert f"DAMAGED: The page {ONE}.pdf is not the one the book holds" in of_book
    if alone:
        elsewhere = plant.parent / "elsewhere"
        elsewhere.mkdir()
        shutil.copy(page_of(plant), elsewhere)
        code, of_file = command(elsewhere, "examine", f"{ONE}.pdf")
        assert (code, "DAMAGED: " in of_file) == (1, True), of_file
        assert "No plant folder at hand" in of_file
    return said


def test_a_byte_of_the_signed_page_is_changed(plant: Path, command: Command) -> None:
    place = page_of(plant).read_bytes().index(b"<xmp:CreatorTool>") + len(b"<xmp:CreatorTool>")
    change(page_of(plant), lambda pdf: flipped(pdf, place))
    said = damaged_in(command, plant)
    assert "Bytes that Ines Quarrow (T-07) signed as performer were changed afterwards." in said
    assert "Bytes that Odell Marsh (S-02) signed as reviewer were changed afterwards." in said


def test_a_byte_of_record_json_in_the_file_is_changed(plant: Path, command: Command) -> None:
    pdf = page_of(plant).read_bytes()
    place = pdf.index(b"stream", pdf.index(b"/EmbeddedFile")) + 400
    change(page_of(plant), lambda pdf: flipped(pdf, place))
    said = damaged_in(command, plant)
    assert "cannot be read to its end as a PDF" in said or "signed as performer were changed" in said


def test_an_attachment_is_replaced_by_an_unsigned_update(plant: Path, command: Command) -> None:
    change(page_of(plant), record_replaced)
    said = damaged_in(command, plant)
    assert "The attachment record.json was replaced after the page was made." in said
    assert f"The file is none of those the book holds of {ONE}; it was changed." in said


def test_an_attachment_of_an_unsigned_page_is_replaced(plant: Path, command: Command) -> None:
    change(page_of(plant, TWO), lambda pdf: record_replaced(pdf, b"fail", b"pass"))
    code, said = command(plant, "examine", page_of(plant, TWO))
    assert code == 1
    assert "The attachment record.json was replaced after the page was made." in said


@pytest.mark.parametrize(
    ("how", "named"),
    [
        (attachment_added, "The attachment zz.json was added after the page was made."),
        (painted_over, "Page 1 was painted over after it was made."),
        (note_stuck_on, "added"),
        (lambda pdf: pdf + b"\n% something\n", "added"),
    ],
)
def test_an_update_is_added_after_signing(
    plant: Path, command: Command, how: Callable[[bytes], bytes], named: str
) -> None:
    change(page_of(plant), how)
    assert named in damaged_in(command, plant)


def test_the_countersignature_is_cut_off(plant: Path, command: Command) -> None:
    """What is left is an honest file that nobody countersigned; only the book knows better."""
    change(page_of(plant), lambda pdf: cut(pdf, 1))
    said = damaged_in(command, plant, alone=False)
    assert "DAMAGED: The countersignature is in the book, missing in the file." in said
    code, said = command(plant.parent, "examine", page_of(plant))
    assert (code, "DAMAGED" in said) == (0, False), said
    assert "signed by the performer, not countersigned" in said


def test_both_signatures_are_cut_off(plant: Path, command: Command) -> None:
    change(page_of(plant), lambda pdf: cut(pdf, 0))
    said = damaged_in(command, plant, alone=False)
    assert "DAMAGED: The signature is in the book, missing in the file." in said
    assert "DAMAGED: The countersignature is in the book, missing in the file." in said
    code, said = command(plant.parent, "examine", page_of(plant))
    assert (code, "DAMAGED" in said) == (0, False), said
    assert f"record {ONE}, not signed" in said


def test_the_page_of_another_number_is_copied_over(plant: Path, command: Command) -> None:
    shutil.copy(page_of(plant, TWO), page_of(plant))
    said = damaged_in(command, plant, alone=False)
    assert f"DAMAGED: The file is named {ONE} but holds record {TWO}." in said


def test_a_page_is_missing(plant: Path, command: Command) -> None:
    page_of(plant).unlink()
    code, said = command(plant, "book", "examine")
    assert code == 1
    assert f"DAMAGED: The page {ONE}.pdf is missing from book/pages" in said


# ---------------------------------------------------------------- who signed


def signed_by(pdf: bytes, certificates: Path, keys: Path, staff: str) -> bytes:
    """Sign as performer with this key and other software, which asks nothing."""
    attached = attachments_of(pdf)
    data = attached.pop("record.json")
    places = signature_places(record_from(data), data, attached)
    stamp = stamp_page(["somebody"], 150, 40)
    signer = signing._signer(KeyStore(keys), certificates, staff, SECRET, NOW)
    return signing._signed(pdf, signing._with_fields(pdf, places), signer, "Performer", stamp, NOW)


def test_another_person_of_the_plant_signed(plant: Path, command: Command) -> None:
    bare = cut(page_of(plant).read_bytes(), 0)
    page_of(plant).write_bytes(signed_by(bare, plant / "certificates", plant.parent / "keys", "T-11"))
    said = damaged_in(command, plant)
    assert "Perrin Vale (T-11) signed as performer; the record was performed by T-07." in said


@pytest.fixture
def stranger(plant: Path) -> Path:
    """The keys and certificates of a made-up authority, which carries the plant's names."""
    folder = plant.parent / "stranger"
    certificates, keys = folder / "certificates", folder / "keys"
    here = open_plant(plant)
    create_authority(certificates, KeyStore(keys), here.site.name, SECRET, NOW)
    issue(certificates, KeyStore(keys), here.people["T-07"], SECRET, SECRET, NOW)
    return folder


def test_a_stranger_signed_under_the_same_name(plant: Path, stranger: Path, command: Command) -> None:
    bare = cut(page_of(plant).read_bytes(), 0)
    page_of(plant).write_bytes(signed_by(bare, stranger / "certificates", stranger / "keys", "T-07"))
    said = damaged_in(command, plant, alone=False)
    assert "was not issued by this plant's authority, whatever names it carries" in said
    code, said = command(plant.parent, "examine", page_of(plant))
    assert code == 0
    assert "who signed is not proven" in said


def test_the_authority_is_swapped_as_well(plant: Path, stranger: Path, command: Command) -> None:
    bare = cut(page_of(plant).read_bytes(), 0)
    page_of(plant).write_bytes(signed_by(bare, stranger / "certificates", stranger / "keys", "T-07"))
    shutil.copytree(stranger / "certificates", plant / "certificates", dirs_exist_ok=True)
    said = damaged_in(command, plant, alone=False)
    assert f"The file is none of those the book holds of {ONE}; it was changed." in said
    _code, said = command(plant, "book", "examine")
    assert "DAMAGED: certificates/authority.pem is not the one entered into the book." in said
    assert "DAMAGED: certificates/T-07.pem is not the one entered into the book." in said
    assert "certificates/S-02.pem" not in said


def test_a_certificate_is_missing(plant: Path, command: Command) -> None:
    (plant / "certificates" / "T-07.pem").unlink()
    code, said = command(plant, "book", "examine")
    assert (code, "DAMAGED: certificates/T-07.pem is missing" in said) == (1, True), said


# ---------------------------------------------------------------- the book


def test_stored_bytes_are_altered(plant: Path, command: Command) -> None:
    with sqlite3.connect(plant / "book" / "book.sqlite") as connection:
        (data,) = connection.execute("SELECT bytes FROM stored WHERE number = ?", (TWO,)).fetchone()
    connection.close()
    nicer = data.replace(b'"outcome":"fail"', b'"outcome":"pass"')
    assert nicer != data
    book_changed(plant, "UPDATE stored SET bytes = :nicer WHERE number = :number", nicer=nicer, number=TWO)
    code, said = command(plant, "book", "examine")
    assert code == 1
    assert f"DAMAGED: The bytes kept for record {TWO} are not those that were entered." in said
    code, said = command(plant, "rerun", TWO)
    assert code == 3
    assert "could not run, because its stored bytes are not those that were entered" in said


def test_an_entry_in_the_middle_is_altered(plant: Path, command: Command) -> None:
    seq, text = entry(plant, "reviewed", ONE)
    other = text.replace('"by":"S-02"', '"by":"T-11"')
    assert other != text
    book_changed(plant, "UPDATE entries SET entry = :text WHERE seq = :seq", text=other, seq=seq)
    code, said = command(plant, "book", "examine")
    assert code == 1
    assert f"DAMAGED: Entry {seq} of L1 was altered: its text does not give its digest." in said


def test_an_entry_in_the_middle_is_altered_with_its_digest(plant: Path, command: Command) -> None:
    seq, text = entry(plant, "reviewed", ONE)
    other = text.replace('"by":"S-02"', '"by":"T-11"')
    book_changed(
        plant,
        "UPDATE entries SET entry = :text, hash = :hash WHERE seq = :seq",
        text=other,
        hash=digest(PREFIX + other.encode()),
        seq=seq,
    )
    code, said = command(plant, "book", "examine")
    assert code == 1
    assert f"DAMAGED: Entry {seq + 1} of L1 does not follow entry {seq}: one of the two was replaced." in said


def test_an_entry_in_the_middle_is_removed(plant: Path, command: Command) -> None:
    seq, _text = entry(plant, "reviewed", ONE)
    book_changed(plant, "DELETE FROM entries WHERE seq = :seq", seq=seq)
    code, said = command(plant, "book", "examine")
    assert code == 1
    assert f"DAMAGED: Entry {seq} of L1 is missing." in said


@pytest.fixture
def outside(plant: Path, command: Command) -> dict[str, Any]:
    """What is kept outside the computer: the pages handed out and the newest digest."""
    _code, head = command(plant, "book", "head")
    folder = plant.parent / "handed out"
    shutil.copytree(plant / "book" / "pages", folder)
    return {"anchor": head.strip(), "pages": folder}


def without_its_last_record(plant: Path) -> int:
    seq, _text = entry(plant, "performed", TWO)
    book_changed(
        plant,
        "DELETE FROM records WHERE seq = :seq",
        "DELETE FROM entries WHERE seq = :seq",
        "DELETE FROM stored WHERE number = :number",
        seq=seq,
        number=TWO,
    )
    page_of(plant, TWO).unlink()
    return seq


def test_a_record_removed_from_the_end_shows_only_from_outside(
    plant: Path, outside: dict[str, Any], command: Command
) -> None:
    seq = without_its_last_record(plant)
    code, said = command(plant, "book", "examine")
    assert (code, "DAMAGED" in said) == (0, False), said
    assert "entries removed from the end" in said
    code, said = command(plant, "book", "examine", "--anchor", outside["anchor"])
    assert code == 1
    assert f"DAMAGED: Of L1, entry {seq} cannot be found, removed at the end" in said
    code, said = command(plant, "book", "examine", "--pages", outside["pages"])
    assert code == 1
    assert f"DAMAGED: The book does not know {TWO}, of which {TWO}.pdf was handed out." in said
    code, said = command(plant, "examine", outside["pages"] / f"{TWO}.pdf")
    assert code == 1
    assert f"DAMAGED: The book does not know a record {TWO}." in said


def test_more_removed_from_the_end_shows_by_the_digest_on_a_later_page(
    plant: Path, outside: dict[str, Any], command: Command
) -> None:
    """The page of 0002 names the entry before it, which is the countersignature of 0001."""
    without_its_last_record(plant)
    seq, _text = entry(plant, "reviewed", ONE)
    book_changed(plant, "DELETE FROM entries WHERE seq = :seq", seq=seq)
    change(page_of(plant), lambda pdf: cut(pdf, 1))
    code, said = command(plant, "book", "examine")
    assert (code, "DAMAGED" in said) == (0, False), said
    code, said = command(plant, "book", "examine", "--pages", outside["pages"])
    assert code == 1
    assert f"Of L1, entry {seq} cannot be found, removed at the end: {TWO}.pdf names entry {seq}." in said


def test_a_record_made_anew_under_the_same_number_shows_by_the_page_handed_out(
    plant: Path, outside: dict[str, Any], command: Command
) -> None:
    """The newest record is removed and the sheet, with nicer readings, performed again."""
    without_its_last_record(plant)
    path = plant / "field_sheets" / "fail.toml"
    text = path.read_text("utf-8")
    path.write_text(text.replace("glass showed a brown film", "glass was clean"), "utf-8")
    acts.perform(open_plant(plant), [path], NOW)
    code, said = command(plant, "book", "examine")
    assert (code, "DAMAGED" in said) == (0, False), said
    code, said = command(plant, "book", "examine", "--pages", outside["pages"])
    assert code == 1
    assert f"DAMAGED: The record.json in {TWO}.pdf is not the one entered as {TWO}." in said
    code, said = command(plant, "book", "examine", "--anchor", outside["anchor"])
    assert code == 1
    assert "is not the one that the digest told on the command line names" in said


def test_a_page_forged_from_a_forged_record(plant: Path, command: Command) -> None:
    """Made by wqverify itself from a record that says other things: sound alone, unknown to the book."""
    attached = attachments_of(page_of(plant, TWO).read_bytes())
    plain = json.loads(attached.pop("record.json"))
    plain["performed_by"] = "T-11"
    data = json.dumps(plain, separators=(",", ":"), sort_keys=True, ensure_ascii=False).encode()
    page_of(plant, TWO).write_bytes(make_page(record_from(data), data, attached))
    code, said = command(plant, "examine", page_of(plant, TWO))
    assert code == 1
    assert f"DAMAGED: The record.json in the file is not the one entered as {TWO}." in said


# ---------------------------------------------------------------- the plant folder


@pytest.mark.parametrize("words", [("book", "examine"), ("examine", f"book/pages/{ONE}.pdf")])
def test_a_deleted_register_file_is_named(plant: Path, command: Command, words: tuple[str, ...]) -> None:
    """Nothing can be compared then: exit code 3, and not the words for a file far from any plant."""
    (plant / "analyzers.toml").unlink()
    code, said = command(plant, *words)
    assert code == 3
    assert "has no analyzers.toml; put it back" in said
    assert "No plant folder at hand" not in said


def test_a_deleted_book_is_named(plant: Path, command: Command) -> None:
    (plant / "book" / "book.sqlite").unlink()
    code, said = command(plant, "book", "examine")
    assert code == 3
    assert "There is no record book at" in said
