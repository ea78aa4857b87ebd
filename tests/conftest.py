"""What all tests share: in CI a skipped test is a failure, and real data is found beside the project."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings
from servers import Cluster, end_server, the_server

# In CI the same examples every time, so that a failure is of the change; elsewhere new ones each time.
settings.register_profile("ci", derandomize=True)
settings.load_profile("ci" if os.environ.get("WQVERIFY_CI") else "default")

ROOT = Path(__file__).resolve().parent.parent


def pytest_sessionfinish(session: pytest.Session) -> None:
    end_server()
    if not os.environ.get("WQVERIFY_CI"):
        return
    reporter = session.config.pluginmanager.getplugin("terminalreporter")
    if reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture(scope="session")
def real_data() -> Path:
    """The folder with real public exports; without it a test that needs one is skipped."""
    folder = Path(os.environ.get("WQVERIFY_DATA", ROOT.parent / "shared" / "data"))
    if not folder.is_dir():
        pytest.skip("the folder with real public exports is not beside the project (WQVERIFY_DATA)")
    return folder


@pytest.fixture(scope="session")
def server() -> Cluster:
    """A PostgreSQL server of the tests' own; in CI it is never skipped."""
    return the_server()


@pytest.fixture(scope="session")
def packed_month(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a plant and the audit pack of its month; it is read and copied, never changed."""
    from pack_example import pack_of, plant_with_month

    folder = tmp_path_factory.mktemp("packed")
    pack_of(plant_with_month(folder), folder / "pack")
    return folder


@pytest.fixture(params=["file", "server"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where an empty book is to be: in a file that is not there yet, then on a server that was prepared."""
    if request.param == "file":
        return str(tmp_path / "book" / "book.sqlite")
    cluster = the_server()
    return cluster.address(cluster.emptied())
