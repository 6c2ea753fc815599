"""`cubital serve`: the pages, for whoever would rather not type commands."""

from __future__ import annotations

from pathlib import Path

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, complain

PAGES = "cubital.web.server"


@click.command()
@wording.site_options
@wording.record_option
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8321, show_default=True, type=click.IntRange(0, 65535), help="Port to listen on.")
@click.option("--name", "names", multiple=True, metavar="NAME", help="Host name of the proxy; repeatable.")
@click.option("--behind-tls", is_flag=True, help="A proxy with TLS stands before this server.")
def serve(
    site: Path | None, demo: bool, address: str, host: str, port: int, names: tuple[str, ...], behind_tls: bool
) -> int:
    """Serve the pages on this machine: Draw and Explain, accounts and their trail.

    The record, --db, keeps the accounts: make it first with `cubital db upgrade`. The first start prints a code; the
    page asks for it and makes the administrator's account. No account or password comes with the program.
    """
    from importlib import import_module

    from cubital.errors import CubitalError, MissingLibrary

    try:
        wording.open_chosen(site, demo=demo)
        try:
            # Named, not imported: prompt and pages stand side by side, and this one starts the other.
            import_module(PAGES).serve(
                site, address=address, host=host, port=port, names=names, is_behind_tls=behind_tls, is_demo=demo
            )
        except ModuleNotFoundError as error:
            raise MissingLibrary.of(error.name, need="serving the pages", extra="web", where="serve") from None
    except CubitalError as error:
        complain(error)
        return REFUSED
    return 0
