"""What is tested is what is installed."""

from __future__ import annotations

from pathlib import Path

import wqverify

SOURCE = Path(__file__).resolve().parent.parent


def test_wqverify_does_not_come_from_the_source_tree() -> None:
    assert Path(wqverify.__file__).resolve().parent != SOURCE / "wqverify"


def test_no_packaged_copies_stand_in_the_source_tree() -> None:
    """A left-over copy would win over the folders it was made from and go stale."""
    assert not (SOURCE / "wqverify" / "_shipped").exists()
