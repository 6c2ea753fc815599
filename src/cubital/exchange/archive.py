"""A zip archive from outside, opened only where unpacking it cannot hurt."""

from __future__ import annotations

import io
import zipfile
import zlib

from cubital.errors import ExchangeError

MOST_PACKED = 5_000_000
MOST_RATIO = 200
# Below this a ratio says nothing: a short text of one letter packs very well.
LEAST_FOR_RATIO = 100_000


def open_archive(data: bytes, *, where: str, most_members: int, most_bytes: int) -> zipfile.ZipFile:
    """The archive in these bytes; its members are read from memory and never written to a disk.

    Raises `ExchangeError` where it is no archive, is locked, holds too many members or too much, was packed
    so tightly that it is a bomb, names a path out of its folder, or names one member twice.
    """
    if len(data) > MOST_PACKED:
        raise ExchangeError(f"found {len(data)} bytes; expected at most {MOST_PACKED}; split it", where=where)
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        raise ExchangeError("found bytes that are no zip archive; send the file again", where=where) from None
    fault = _fault_of(archive, most_members, most_bytes)
    if fault is not None:
        archive.close()
        raise ExchangeError(f"found {fault}; save it again in the program that made it", where=where)
    return archive


def read_member(archive: zipfile.ZipFile, name: str, *, where: str) -> bytes:
    """The bytes of one member; raises `ExchangeError` where it is damaged, whichever way that breaks the library."""
    try:
        return archive.read(name)
    except (zipfile.BadZipFile, zlib.error, ValueError, OSError, EOFError, NotImplementedError, RuntimeError):
        raise ExchangeError("found a damaged part; send the file again", where=f"{where} {name[:60]}") from None


def _fault_of(archive: zipfile.ZipFile, most_members: int, most_bytes: int) -> str | None:
    members = archive.infolist()
    if len(members) > most_members:
        return f"{len(members)} members; expected at most {most_members}"
    names = [member.filename for member in members]
    if len(set(names)) < len(names):
        return "a member twice; expected each once"
    if any(is_astray(name) for name in names):
        return "a member with a path out of the archive; expected plain names"
    if any(member.flag_bits & 1 for member in members):
        return "a member locked with a password; expected an open file"
    unpacked = sum(member.file_size for member in members)
    if unpacked > most_bytes:
        return f"{unpacked} bytes unpacked; expected at most {most_bytes}"
    for member in members:
        if member.file_size > LEAST_FOR_RATIO and member.file_size > MOST_RATIO * max(1, member.compress_size):
            return f"a member packed over {MOST_RATIO} times; expected an ordinary file"
    return None


def is_astray(name: str) -> bool:
    """Whether a member's name leads out of the archive's own folder.

    >>> [is_astray(name) for name in ("xl/workbook.xml", "../x", "/etc/x", "C:\\\\x", "a\\\\..\\\\x")]
    [False, True, True, True, True]
    """
    return name.startswith("/") or "\\" in name or ":" in name or ".." in name.split("/") or "\0" in name
