"""The command line as a whole: how it starts, and how it ends when something is wrong."""

from __future__ import annotations

import json
import os
import sys
import tempfile
import traceback
from pathlib import Path
from typing import Any, NoReturn

import typer
from typer.exceptions import TyperException

from doe.cli import commands
from doe.cli.screen import study_typed, typed, with_study
from doe.errors import DoeError, Fault

app = typer.Typer(
    name="millbase",
    help="From the brief to the formula the team agrees on: the runs, the sheets, the models, "
    "the compromise.",
    epilog="Start with 'millbase demo FOLDER' to see the whole way on an invented study.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
commands.register(app)


def main() -> NoReturn:
    """Run one command and end with its status: 0 done, 1 the answer is no, 2 input, 3 our fault."""
    # Before numpy loads: our matrices are small, threads only wait for one another, and sums in one
    # order give the same digits on any number of processors.
    for library in ("OPENBLAS", "OMP", "MKL"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8")
    sys.exit(run(sys.argv[1:]))


def run(arguments: list[str]) -> int:
    """Run one command in this process and give its exit status."""
    as_json = "--json" in arguments
    study_typed.set(_study_in(arguments))
    try:
        status = typer.main.get_command(app).main(arguments, "millbase", standalone_mode=False)
    except DoeError as error:
        return _refuse(error.faults, as_json)
    except TyperException as error:
        return _refuse((_usage_fault(error, arguments),), as_json)
    except BrokenPipeError:
        # The reader of our output has left (a pager closed, `head` had enough); that is no fault.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print("Stopped; nothing was half written.", file=sys.stderr)
        return 130
    except Exception as error:  # noqa: BLE001 - the rim of the house: whatever is left is our fault
        return _own_fault(error, as_json)
    return int(status or 0)


def _study_in(arguments: list[str]) -> str:
    """Find the study among the words of a command, as it is typed; STUDY where none is there."""
    folders = [Path(word) for word in arguments[1:] if Path(word).is_dir()]
    return typed(folders[0]) if folders else "STUDY"


def _usage_fault(error: Any, arguments: list[str]) -> Fault:
    command = next((word for word in arguments if not word.startswith("-")), "")
    known = command in {
        entry.callback.__name__ for entry in app.registered_commands if entry.callback
    }
    asked = f"millbase {command} --help" if known else "millbase --help"
    message = error.format_message() if hasattr(error, "format_message") else str(error)
    return Fault(what=message.rstrip("."), where="command line", do=f"See '{asked}'.")


def _refuse(faults: tuple[Fault, ...], as_json: bool) -> int:
    for fault in faults:
        print(with_study(fault.sentence()), file=sys.stderr)
    if as_json:
        every = [
            {"where": f.where, "what": f.what, "allowed": f.allowed, "do": f.do} for f in faults
        ]
        print(json.dumps({"contract": 1, "error": every[0], "faults": every}, ensure_ascii=False))
    return 2


def _own_fault(error: Exception, as_json: bool) -> int:
    with tempfile.NamedTemporaryFile(
        "w", prefix="millbase-fault-", suffix=".txt", delete=False, encoding="utf-8"
    ) as file:
        traceback.print_exception(error, file=file)
    what = f"this is a fault of millbase, not of your study ({type(error).__name__})"
    do = f"The details are in {Path(file.name)}; please send that file with your study."
    print(f"{what}. {do}", file=sys.stderr)
    if as_json:
        print(
            json.dumps(
                {
                    "contract": 1,
                    "error": {"where": "millbase", "what": what, "allowed": "", "do": do},
                }
            )
        )
    return 3


if __name__ == "__main__":
    main()
