"""Where each chain of a database ends, noted in the database itself: a careless cut is seen, an owner's is not."""

from __future__ import annotations

from sqlalchemy import Connection, select, update
from sqlalchemy.dialects import postgresql, sqlite

from cubital.model.record import ChainKey, Head
from cubital.store.tables import chain_head


def noted_head(connection: Connection, chain: ChainKey) -> Head | None:
    """Where the end of this chain was last noted."""
    row = connection.execute(select(chain_head).where(chain_head.c.chain == chain)).first()
    return None if row is None else Head(sequence=row.sequence, hash=row.hash)


def note_head(connection: Connection, chain: ChainKey, head: Head, *, previous: Head) -> None:
    """Note that the chain ends with this head; `previous` is where it ended before.

    Where another end than `previous` is noted, something was cut off or written anew: the note stays as it is, and so
    the check finds it however much is written after.
    """
    if previous.sequence == 0:
        dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
        row = {"chain": chain, "sequence": head.sequence, "hash": head.hash}
        connection.execute(dialect.insert(chain_head).on_conflict_do_nothing(), [row])
        return
    ours = (chain_head.c.chain == chain, chain_head.c.sequence == previous.sequence, chain_head.c.hash == previous.hash)
    connection.execute(update(chain_head).where(*ours).values(sequence=head.sequence, hash=head.hash))
