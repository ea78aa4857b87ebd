"""Private keys: in a person's own folder on one computer, each locked by its passphrase."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from wqverify.durable import make_folder, write_durably
from wqverify.errors import CorrectTheEntry, RepairTheFolder

SHORTEST_PASSPHRASE = 8


@dataclass(frozen=True, slots=True)
class KeyStore:
    """A folder of PKCS#12 files, one sub-folder per plant, named by the fingerprint of its authority."""

    folder: Path

    def path(self, plant: str, name: str) -> Path:
        """Return where the key of a person, or of the authority, is kept."""
        return self.folder / plant / f"{name}.p12"

    def read(self, plant: str, name: str) -> bytes:
        """Return the locked key; raises RepairTheFolder when it is not on this computer."""
        path = self.path(plant, name)
        try:
            return path.read_bytes()
        except OSError as problem:
            raise RepairTheFolder(
                f"The key of {name} for this plant is not on this computer ({path} cannot be read: "
                f"{problem.strerror}); go to the computer that holds it, or copy {path.name} from there.",
                found=problem.strerror or "",
                where=str(path),
            ) from problem

    def write(self, plant: str, name: str, locked: bytes) -> None:
        """Keep a locked key so that nobody else on this computer can read it."""
        path = self.path(plant, name)
        make_folder(path.parent, mode=0o700)
        write_durably(path, locked, mode=0o600)


def insist_on_length(passphrase: bytes, whose: str) -> None:
    """Raise CorrectTheEntry for a passphrase too short to lock a key with."""
    if len(passphrase.decode("utf-8", "replace")) < SHORTEST_PASSPHRASE:
        raise CorrectTheEntry(
            f"The passphrase for the key of {whose} is too short; choose one of at least "
            f"{SHORTEST_PASSPHRASE} characters.",
            expected=f"at least {SHORTEST_PASSPHRASE} characters",
        )


def does_not_open(whose: str) -> CorrectTheEntry:
    """Return what is said when a passphrase does not open a key."""
    return CorrectTheEntry(
        f"This passphrase does not open the key of {whose}; nothing was done. Type it again.",
        where=f"{whose}.p12",
    )
