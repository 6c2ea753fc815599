"""The one place of the app that knows its adapters: what use cases, pages and commands open and read, by one name."""

from __future__ import annotations

from cubital.app.wiring.backups import back_up, head_of_backup, note_heads, open_backup, read_head, read_heads
from cubital.app.wiring.databases import (
    open_accounts,
    open_record,
    open_site_versions,
    open_store,
    open_takings,
    passing_record,
    upgrade_store,
)
from cubital.app.wiring.orders import (
    ByteLines,
    error_document,
    order_of_words,
    patient_of_words,
    plan_document,
    read_lines,
    read_order,
    read_request,
)
from cubital.app.wiring.results import is_results_table, read_samples, read_typed_results
from cubital.app.wiring.sites import (
    change_files,
    demo_folder,
    open_site,
    patch_site_files,
    read_findings,
    read_site_tables,
    site_files,
    site_formats,
    starter_files,
    tables_of,
    write_site_file,
    zip_site,
)
from cubital.app.wiring.specimens import read_collection, read_drawn, read_specimens, read_waiting
from cubital.app.wiring.streams import read_bytes, unreadable, write_bytes
from cubital.app.wiring.times import read_day, read_local, say_local

__all__ = [
    "ByteLines",
    "back_up",
    "change_files",
    "demo_folder",
    "error_document",
    "head_of_backup",
    "is_results_table",
    "note_heads",
    "open_accounts",
    "open_backup",
    "open_record",
    "open_site",
    "open_site_versions",
    "open_store",
    "open_takings",
    "order_of_words",
    "passing_record",
    "patch_site_files",
    "patient_of_words",
    "plan_document",
    "read_bytes",
    "read_collection",
    "read_day",
    "read_drawn",
    "read_findings",
    "read_head",
    "read_heads",
    "read_lines",
    "read_local",
    "read_order",
    "read_request",
    "read_samples",
    "read_site_tables",
    "read_specimens",
    "read_typed_results",
    "read_waiting",
    "say_local",
    "site_files",
    "site_formats",
    "starter_files",
    "tables_of",
    "unreadable",
    "upgrade_store",
    "write_bytes",
    "write_site_file",
    "zip_site",
]
