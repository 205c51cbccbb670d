"""Racks for tests: every test runs on SQLite, and on PostgreSQL where ODDPLATE_POSTGRES_URL names a server."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from racks import own_schema

from nesting.rack.store import Rack, open_rack

SERVER = os.environ.get("ODDPLATE_POSTGRES_URL", "")
POSTGRES = pytest.param(
    "postgresql", marks=pytest.mark.skipif(not SERVER, reason="ODDPLATE_POSTGRES_URL names no server")
)


@pytest.fixture(params=["sqlite", POSTGRES])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A place for a rack, where none is yet."""
    if request.param == "sqlite":
        yield str(tmp_path / "the rack.db")
        return
    with own_schema(SERVER) as url:
        yield url


@pytest.fixture
def rack(where: str) -> Iterator[Rack]:
    """A new rack."""
    with open_rack(where, create=True) as opened:
        yield opened
