"""The database under a rack: SQLite in one file, or PostgreSQL; transactions, versions, and errors in plain words."""

import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.pool import StaticPool

from nesting.errors import InputError, RackError
from nesting.rack.migrations import VERSION, statements
from nesting.rack.tables import VERSIONS

BUSY_S: Final = 15.0
"""Seconds to wait while another program writes."""

_LOCK: Final = 0x6F646470
"""Key of PostgreSQL's advisory lock that lets one writer in at a time; any number would do."""
_SQLITE_MAGIC: Final = b"SQLite format 3\x00"
_PASSWORD: Final = re.compile(r"(?<=://)([^:/@]*):[^@]*@|(?<=password=)[^&]*")


class Database:
    """Connections to one rack.  `where` is a file or a URL; it is told in messages without its password."""

    def __init__(self, where: str | Path, *, create: bool = False, busy_s: float = BUSY_S) -> None:
        """Open, and bring an older rack to this version.

        Raises `InputError` for what is no rack or is not there (unless `create`), `RackError` for one that a newer
        version wrote or that cannot be reached.
        """
        self.busy_s = busy_s
        url = _url(where)
        self.where = without_password(str(where))
        self.is_sqlite = url.get_backend_name() == "sqlite"
        self.file = Path(url.database) if self.is_sqlite and url.database not in (None, "", ":memory:") else None
        if self.file is not None:
            _require_file(self.file, create=create)
        self.engine = self._engine(url)
        try:
            with self.told():
                self._prepare(create=create)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Let go of all connections."""
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection on which all reads see one moment."""
        level = {} if self.is_sqlite else {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        with self.told(), self.engine.connect().execution_options(**level) as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection that is the only writer; all it wrote is there at the end, or nothing after an error."""
        with self.told(), self.engine.connect().execution_options(rack_writes=True) as connection, connection.begin():
            if not self.is_sqlite:
                connection.execute(sa.text(f"SET LOCAL lock_timeout = {round(1000 * self.busy_s)}"))
                connection.execute(sa.text(f"SELECT pg_advisory_xact_lock({_LOCK})"))
            yield connection

    @contextmanager
    def told(self) -> Iterator[None]:
        """Turn what a driver says of a database into a `RackError` in plain words; faults of ours pass through."""
        try:
            yield
        except DBAPIError as error:
            why = _why(error, self.busy_s)
            if why is None:
                raise
            raise RackError(f"rack {self.where}: {why}") from None

    def _engine(self, url: URL) -> Engine:
        if not self.is_sqlite:
            try:
                return sa.create_engine(url, connect_args={"connect_timeout": 10})
            except ModuleNotFoundError:
                raise InputError(
                    f"rack {self.where}: PostgreSQL needs the library psycopg; install it with "
                    "pip install 'oddplate[postgres]'"
                ) from None
        memory: dict[str, Any] = {} if self.file else {"poolclass": StaticPool}
        engine = sa.create_engine(url, connect_args={"timeout": self.busy_s, "check_same_thread": False}, **memory)
        sa.event.listen(engine, "connect", _connected)
        sa.event.listen(engine, "begin", _begun)
        return engine

    def _prepare(self, *, create: bool) -> None:
        with self.reading() as connection:
            found = self._version(connection)
        if found > VERSION:
            raise RackError(
                f"rack {self.where}: was written by a newer version of oddplate (schema {found}, this one knows up to "
                f"{VERSION}); update this one, or use another rack"
            )
        if found == VERSION:
            return
        if found == 0 and not create:
            raise InputError(f"rack {self.where}: holds no rack yet; 'oddplate rack add' or 'import' makes one")
        if self.file is not None and found == 0:
            self._write_ahead()
        with self.writing() as connection:
            # Another program may have come first.
            for step in range(self._version(connection), VERSION):
                self._step(connection, step)

    def _version(self, connection: Connection) -> int:
        names = set(sa.inspect(connection).get_table_names())
        if VERSIONS.name not in names:
            if self.is_sqlite and names:
                raise InputError(f"rack {self.where}: is a database of something else; give another file")
            return 0
        rows = connection.execute(sa.select(VERSIONS.c.version, VERSIONS.c.next_number)).all()
        if len(rows) != 1 or None in rows[0]:
            raise RackError(f"rack {self.where}: is damaged (it does not say its version once); put back a copy")
        return int(rows[0][0])

    def _step(self, connection: Connection, step: int) -> None:
        if step == 0:
            connection.execute(
                sa.text("CREATE TABLE rack_version (version BIGINT NOT NULL, next_number BIGINT NOT NULL)")
            )
            connection.execute(sa.insert(VERSIONS).values(version=0, next_number=0))
        for statement in statements(step, connection.dialect.name):
            connection.exec_driver_sql(statement)
        connection.execute(sa.update(VERSIONS).values(version=step + 1))

    def _write_ahead(self) -> None:
        """Let readers go on while somebody writes; the file remembers it."""
        end = time.monotonic() + self.busy_s
        while True:
            try:
                with self.engine.connect() as connection:
                    connection.exec_driver_sql("COMMIT")  # the mode is not changed within a transaction
                    connection.exec_driver_sql("PRAGMA journal_mode = WAL")
                    connection.exec_driver_sql("BEGIN")
                return
            except DBAPIError as error:
                # Another program is making the same rack; this one statement does not wait by itself.
                if "locked" not in str(error.orig) or time.monotonic() > end:
                    raise
                time.sleep(0.05)


def without_password(url: str) -> str:
    """Return a URL as it may be shown."""
    return _PASSWORD.sub(lambda found: "***" if found[1] is None else f"{found[1]}:***@", url)


def _url(where: str | Path) -> URL:
    text = str(where)
    if "://" not in text:
        return URL.create("sqlite+pysqlite", database=text)
    try:
        url = sa.make_url(text)
    except (ArgumentError, ValueError):
        raise InputError(f"rack {without_password(text)}: is no URL that can be read") from None
    name = url.drivername.split("+")[0]
    if name in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    if name == "sqlite":
        return url.set(drivername="sqlite+pysqlite")
    raise InputError(
        f"rack {without_password(text)}: {name!r} is no database that a rack can be kept in; expected a file, "
        "or a URL such as postgresql://user@server/rack"
    )


def _require_file(file: Path, *, create: bool) -> None:
    if file.is_dir():
        raise InputError(f"rack {file}: is a folder; give a file, such as {file / 'rack.db'}")
    if not file.exists():
        if not create:
            raise InputError(f"rack {file}: no such file; 'oddplate rack add' makes a rack, or give another --rack")
        if not file.parent.is_dir():
            raise InputError(f"rack {file}: there is no folder {file.parent}; make it, or give another place")
        return
    try:
        with file.open("rb") as opened:
            head = opened.read(len(_SQLITE_MAGIC))
    except OSError as error:
        raise RackError(f"rack {file}: cannot be read: {error.strerror or error}") from None
    if head not in (b"", _SQLITE_MAGIC):
        raise InputError(f"rack {file}: is no rack (not an SQLite file); give another file")


def _connected(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # the driver starts no transactions of its own
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = FULL")


def _begun(connection: Connection) -> None:
    writes = connection.get_execution_options().get("rack_writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _why(error: DBAPIError, busy_s: float) -> str | None:
    """Return what went wrong and what to do; None for a fault of ours, such as a broken rule of the tables."""
    text = str(error.orig).strip()
    state = getattr(error.orig, "sqlstate", None)
    if "locked" in text or "busy" in text or state == "55P03":
        return f"another program has been writing to it for more than {busy_s:g} s; wait until it is done and try again"
    if "readonly" in text or "read-only" in text or state in ("25006", "42501"):
        return "may only be read; ask for the right to write it, and to its folder"
    if "unable to open" in text:
        return "cannot be opened; look whether the file and its folder may be written"
    if "malformed" in text or "not a database" in text:
        return f"is damaged or no rack ({text}); put back a copy"
    if "disk is full" in text or "disk I/O" in text or state == "53100":
        return f"the disk is full or failing ({text}); nothing was changed"
    if error.connection_invalidated:
        return "the connection was lost; 'oddplate rack history' tells whether the last act was done"
    if type(error).__name__ in ("OperationalError", "InterfaceError"):
        return f"{text.splitlines()[0] if text else 'the database does not answer'}; nothing was changed"
    return None
