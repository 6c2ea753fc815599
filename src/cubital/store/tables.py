"""The tables of a record as they are in its newest edition.

`event` is only ever added to: triggers of both databases refuse a change or a removal. `specimen`
holds what the events come to, written in the same transaction, and can be computed anew.
`account`, `session` and `throttle` say who may sign in and has; `trail`, who did and saw what, is only added to.
`chain_head` notes where the record and the trail end, so that a careless cut at their end is seen.
`site_version` and `site_file` hold every saved version of a site and are only added to; `site_draft` holds what is not
saved yet, `order_log` the orders that a change of the site is tried on, without patients.
`taking` holds the draws in hand, `tap` what was done at the chair.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)  # fmt: skip

EDITION = "0006"

tables = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "pk": "pk_%(table_name)s",
    }
)

event = Table(
    "event",
    tables,
    # SQLite counts rows in INTEGER; PostgreSQL needs the longer word for a record of many years.
    Column("sequence", BigInteger().with_variant(Integer(), "sqlite"), primary_key=True, autoincrement=False),
    Column("batch", BigInteger().with_variant(Integer(), "sqlite"), nullable=False),
    Column("recorded_at", String(27), nullable=False),
    Column("behind_us", BigInteger().with_variant(Integer(), "sqlite"), nullable=False),
    Column("key", String(500), nullable=False),
    Column("specimen", String(200)),
    Column("version", Integer()),
    Column("body", Text(), nullable=False),
    Column("hash", String(64), nullable=False),
    UniqueConstraint("key"),
    UniqueConstraint("specimen", "version"),
    CheckConstraint("sequence >= 1 AND batch >= 1 AND batch <= sequence", name="sequence"),
    CheckConstraint("length(hash) = 64", name="hash"),
    CheckConstraint("(specimen IS NULL) = (version IS NULL)", name="version"),
)

specimen = Table(
    "specimen",
    tables,
    Column("id", String(200), primary_key=True),
    Column("patient", String(200), nullable=False, index=True),
    Column("status", String(4), nullable=False, index=True),
    Column("version", Integer(), nullable=False),
    Column("state", Text(), nullable=False),
    # Of a tube the instant of its collection; of an aliquot nothing, for it is no draw.
    Column("drawn_at", String(27), index=True),
    CheckConstraint("status IN ('open', 'kept', 'gone')", name="status"),
)

account = Table(
    "account",
    tables,
    Column("name", String(100), primary_key=True),
    Column("role", String(20), nullable=False),
    Column("password_hash", String(300), nullable=False),
    Column("must_change", Boolean(), nullable=False),
    Column("is_shut", Boolean(), nullable=False),
)

session = Table(
    "session",
    tables,
    Column("key", String(64), primary_key=True),
    Column("account", String(100), nullable=False, index=True),
    Column("made_at", String(27), nullable=False),
    Column("seen_at", String(27), nullable=False),
    Column("ends_at", String(27), nullable=False),
)

throttle = Table(
    "throttle",
    tables,
    Column("key", String(64), primary_key=True),
    Column("faults", Integer(), nullable=False),
    Column("last_at", String(27), nullable=False),
)

trail = Table(
    "trail",
    tables,
    Column("sequence", BigInteger().with_variant(Integer(), "sqlite"), primary_key=True, autoincrement=False),
    Column("at", String(27), nullable=False),
    Column("account", String(100), nullable=False),
    Column("role", String(20), nullable=False),
    Column("did", String(200), nullable=False),
    Column("about", String(200), nullable=False),
    # The default is for SQLite, which adds no column without one; no line is written with it.
    Column("hash", String(64), nullable=False, server_default=""),
)

chain_head = Table(
    "chain_head",
    tables,
    Column("chain", String(10), primary_key=True),
    Column("sequence", BigInteger().with_variant(Integer(), "sqlite"), nullable=False),
    Column("hash", String(64), nullable=False),
)

site_file = Table(
    "site_file",
    tables,
    Column("digest", String(64), primary_key=True),
    Column("body", Text(), nullable=False),
    CheckConstraint("length(digest) = 64", name="digest"),
)

site_version = Table(
    "site_version",
    tables,
    Column("site", String(300), primary_key=True),
    Column("number", Integer(), primary_key=True, autoincrement=False),
    Column("at", String(27), nullable=False),
    Column("account", String(100), nullable=False),
    Column("note", String(500), nullable=False),
    Column("restores", Integer()),
    Column("files", Text(), nullable=False),
    CheckConstraint("number >= 0", name="number"),
)

site_draft = Table(
    "site_draft",
    tables,
    Column("account", String(100), primary_key=True),
    Column("site", String(300), nullable=False),
    Column("base", Integer(), nullable=False),
    Column("made_at", String(27), nullable=False),
    Column("origin", String(300), nullable=False),
    Column("files", Text(), nullable=False),
)

order_log = Table(
    "order_log",
    tables,
    Column("site", String(300), primary_key=True),
    Column("number", Integer(), primary_key=True, autoincrement=False),
    Column("body", Text(), nullable=False),
    Column("times", Integer(), nullable=False),
    CheckConstraint("times >= 1", name="times"),
)

taking = Table(
    "taking",
    tables,
    Column("code", String(20), primary_key=True),
    Column("made_at", String(27), nullable=False),
    Column("made_by", String(100), nullable=False),
    Column("body", Text(), nullable=False),
    Column("identity", Text()),
    Column("closed_at", String(27)),
    Column("site_version", Integer()),
    Column("begun_key", String(100)),
    Index("uq_taking_begun_key", "begun_key", unique=True),
)

tap = Table(
    "tap",
    tables,
    Column("sequence", BigInteger().with_variant(Integer(), "sqlite"), primary_key=True, autoincrement=False),
    Column("key", String(200), nullable=False),
    Column("taking", String(20), nullable=False, index=True),
    Column("kind", String(20), nullable=False),
    Column("step", Integer(), nullable=False),
    Column("at", String(27), nullable=False),
    Column("device_at", String(27), nullable=False),
    Column("received_at", String(27), nullable=False),
    Column("by", String(100), nullable=False),
    Column("station", String(100), nullable=False),
    Column("why", String(20)),
    UniqueConstraint("key"),
    Index("ix_tap_station", "station", "at"),
)
