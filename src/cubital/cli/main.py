"""`cubital` at a prompt: parse, one use case, print. Nothing heavy is imported before a command runs."""

from __future__ import annotations

import errno
import os
import sys
from typing import TextIO, cast

import click

from cubital.cli import (
    addon_command,
    bloodvolume_command,
    board_command,
    carryover_command,
    citrate_command,
    collect_command,
    db_command,
    did_command,
    explain_command,
    fill_command,
    find_command,
    plan_command,
    print_command,
    rcf_command,
    receive_command,
    serve_command,
    site_command,
    spin_command,
    suspect_command,
)
from cubital.cli.complaint import REFUSED, complain, document, write_json

# A pipe that closes is status 1, as the parser makes it where it meets one first.
INTERRUPTED, BROKEN_PIPE, DEFECT, UNWRITTEN = 130, 1, 70, 74
# What a full or failing disk behind standard output says; files that a command opens itself tell of themselves.
_OUTPUT_FAULTS = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)


def _say_version(context: click.Context, _option: click.Parameter, is_asked: bool) -> None:
    """Print the version and the edition of the facts: what a report or a validation names."""
    if is_asked:
        from cubital import __version__
        from cubital.facts import edition

        print(f"cubital {__version__}, facts of {edition()}")
        context.exit()


@click.group()
@click.option("--version", is_flag=True, expose_value=False, is_eager=True, callback=_say_version,
              help="Say the version and the edition of the facts.")  # fmt: skip
def cubital() -> None:
    """Work out a blood draw: which tubes, in which order, how full, and why."""


cubital.add_command(plan_command.plan)
cubital.add_command(explain_command.explain)
cubital.add_command(find_command.find)
cubital.add_command(site_command.site)
cubital.add_command(carryover_command.carryover)
cubital.add_command(fill_command.fill)
cubital.add_command(citrate_command.citrate)
cubital.add_command(db_command.db)
cubital.add_command(rcf_command.rcf)
cubital.add_command(bloodvolume_command.bloodvolume)
cubital.add_command(print_command.print_group)
cubital.add_command(spin_command.spin)
cubital.add_command(suspect_command.suspect)
cubital.add_command(board_command.board)
cubital.add_command(collect_command.collect)
cubital.add_command(receive_command.receive)
cubital.add_command(did_command.did)
cubital.add_command(serve_command.serve)
cubital.add_command(addon_command.addon)
cubital.add_command(addon_command.redraw)


def run(arguments: list[str] | None = None) -> None:
    """Run one command and leave with its status; whatever happens, no traceback is shown."""
    raise SystemExit(status_of(sys.argv[1:] if arguments is None else arguments))


def status_of(arguments: list[str]) -> int:
    """The exit status of one command: 0 done, 1 some of many failed, 2 refused, 74 not written, 130 interrupted."""
    _open_closed_streams()
    _make_writable()
    try:
        found = cubital.main(args=arguments, prog_name="cubital", standalone_mode=False)
        sys.stdout.flush()
        return found if isinstance(found, int) else 0
    except click.ClickException as error:
        return _refuse_words(error, arguments)
    except (KeyboardInterrupt, click.Abort):
        print("cubital: interrupted", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        _drop_output()  # Whoever read it has seen enough.
        return BROKEN_PIPE
    except Exception as error:
        if isinstance(error, OSError) and error.errno in _OUTPUT_FAULTS and error.filename is None:
            return _lose_output(error)
        return _confess(error, arguments)


def _drop_output() -> None:
    """Let the interpreter not complain of an output that nobody takes while it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _lose_output(error: OSError) -> int:
    _drop_output()
    print(
        f"cubital: standard output: found {error.strerror}; expected room for the answer, which is not whole; make "
        "room and ask again: what the record took is in it, and a retry with the same words writes nothing twice",
        file=sys.stderr,
    )
    return UNWRITTEN


def _open_closed_streams() -> None:
    """Give a program that was started without a stream an empty one: what it answers then is its status alone."""
    sys.stdin = sys.stdin or _nothing("r")
    sys.stdout = sys.stdout or _nothing("w")
    sys.stderr = sys.stderr or _nothing("w")


def _nothing(mode: str) -> TextIO:
    return cast(TextIO, open(os.devnull, mode, encoding="utf-8"))


def _refuse_words(error: click.ClickException, arguments: list[str]) -> int:
    from cubital.errors import OrderError

    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        print(error.format_message(), file=sys.stderr)
        return REFUSED
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "cubital"
    refusal = OrderError(f"{error.format_message()} See: {command} --help", where="command line")
    complain(refusal)
    if "--json" in arguments:
        write_json(document(refusal))
    return REFUSED


def _confess(error: Exception, arguments: list[str]) -> int:
    """Refuse, saying that the fault is ours and where; an error raised on purpose is said in its own words."""
    from cubital.errors import CubitalError

    if isinstance(error, CubitalError):
        complain(error)
        if "--json" in arguments:
            write_json(document(error))
        return REFUSED
    frame = error.__traceback__
    while frame is not None and frame.tb_next is not None:
        frame = frame.tb_next
    place = f"{os.path.basename(frame.tb_frame.f_code.co_filename)} line {frame.tb_lineno}" if frame else "?"
    print(
        f"cubital: internal: {type(error).__name__} at {place}; nothing was planned; this is a defect of "
        "cubital, please report it with the command",
        file=sys.stderr,
    )
    return DEFECT


def _make_writable() -> None:
    """Let no character of a name end a command on a terminal that cannot show it."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")


if __name__ == "__main__":
    run()
