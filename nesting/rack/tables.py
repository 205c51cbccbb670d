"""The tables as SQLAlchemy sees them; `migrations` makes them, and a test holds that both agree."""

from typing import Final

from sqlalchemy import BigInteger, Column, Double, MetaData, Table, Text

META: Final = MetaData()

VERSIONS: Final = Table("rack_version", META, Column("version", BigInteger), Column("next_number", BigInteger))

FACTS: Final = (
    ("name", Text),
    ("thickness_mm", Double),
    ("grade", Text),
    ("heat", Text),
    ("certificate", Text),
    ("grain_deg", Double),
    ("place", Text),
    ("photo", Text),
    ("note", Text),
    ("weighed_kg", Double),
    ("valued", Text),
    ("own_value", Double),
)
SIZES: Final = (
    "area_mm2",
    "usable_mm2",
    "size_x_mm",
    "size_y_mm",
    "width_mm",
    "length_mm",
    "circle_mm",
    "long_mm",
    "short_mm",
    "turn_deg",
)

PIECES: Final = Table(
    "rack_pieces",
    META,
    Column("id", Text, primary_key=True),
    Column("number", BigInteger),
    Column("state", Text),
    Column("set_aside_for", Text),
    *(Column(name, kind) for name, kind in FACTS),
    Column("grade_plain", Text),
    Column("parent", Text),
    Column("added", Text),
    Column("captured", Text),
    Column("uncertainty_mm", Double),
    Column("capture", Text),
    Column("outline", Text),
    *(Column(name, Double) for name in SIZES),
)
ACTS: Final = Table(
    "rack_acts",
    META,
    Column("number", BigInteger, primary_key=True),
    Column("at", Text),
    Column("who", Text),
    Column("kind", Text),
    Column("note", Text),
    Column("undoes", BigInteger),
)
CHANGES: Final = Table(
    "rack_changes",
    META,
    Column("act", BigInteger, primary_key=True),
    Column("piece", Text, primary_key=True),
    Column("before", Text),
    Column("after", Text),
)
CUTS: Final = Table(
    "rack_cuts",
    META,
    Column("act", BigInteger, primary_key=True),
    Column("piece", Text),
    Column("layout_id", Text),
    Column("layout", Text),
    Column("report", Text),
    Column("made", Text),
    Column("failed", Text),
    Column("not_reached", Text),
    Column("areas", Text),
)

COUNTS: Final = Table(
    "rack_counts",
    META,
    Column("number", BigInteger, primary_key=True),
    Column("at", Text),
    Column("who", Text),
    Column("place", Text),
    Column("note", Text),
)
COUNTED: Final = Table(
    "rack_counted",
    META,
    Column("count", BigInteger, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("outcome", Text),
)

CHANGING: Final = ("state", "set_aside_for", *(name for name, _ in FACTS))
"""Columns of a piece that acts change; all others stay as they came."""
