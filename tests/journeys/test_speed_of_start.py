"""How fast the command starts, and what it says before it thinks."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from statistics import median

import pytest

from doe.cli.app import app
from tests.journeys.briefs import RESPONSE, factors, study_of

HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "statsmodels", "openpyxl", "reportlab",
         "pyDOE3", "jinja2")  # fmt: skip
COMMAND = (sys.executable, "-m", "doe.cli.app")
COMMANDS = sorted(entry.callback.__name__ for entry in app.registered_commands if entry.callback)


def seconds(*command: str) -> float:
    """Time one process."""
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start


def test_help_takes_no_longer_than_three_times_the_import_of_typer() -> None:
    """Medians of turns taken in the same run, so that a busy machine burdens both alike.

    A turn that another program has fallen upon is tried again before it counts.
    """
    bare = (sys.executable, "-c", "import typer")
    for _ in range(3):
        turns = [(seconds(*COMMAND, "--help"), seconds(*bare)) for _ in range(5)]
        ours, typers = (median(column) for column in zip(*turns, strict=True))
        if ours <= 3 * typers:
            return
    pytest.fail(f"--help takes {ours:.2f} s, importing typer {typers:.2f} s")


@pytest.mark.parametrize("arguments", [["--help"], *([name, "--help"] for name in COMMANDS)])
def test_help_loads_nothing_heavy(arguments: list[str]) -> None:
    """Neither numbers nor tables nor figures: they belong to the commands that need them."""
    script = (
        "import sys, json\nfrom doe.cli.app import run\n"
        f"status = run({arguments!r})\n"
        "print(json.dumps([status, sorted(n for n in sys.modules if '.' not in n)]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], check=True, capture_output=True, encoding="utf-8",
        env={**os.environ, "PYTHONUTF8": "1"},
    )  # fmt: skip
    status, loaded = json.loads(done.stdout.splitlines()[-1])

    assert status == 0
    assert [name for name in HEAVY if name in loaded] == []
    if arguments != ["--help"]:
        assert "Example: millbase" in " ".join(done.stdout.split())


# What a command needs besides the study; `new` and `demo` make their own folder.
NEEDS = {
    "new": ["{place}/fresh"],
    "demo": ["{place}/fresh"],
    "adopt": ["{place}/table.csv", "{study}"],
    "enter": ["{study}", "{place}/table.csv"],
    "note": ["{study}", "--says", "lost", "--run", "1", "--because", "x"],
    "predict": ["{study}", "--at", "z1=0"],
    "extend": ["{study}", "--for", "check"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_says_what_it_does_before_anything_heavy(name: str, tmp_path: Path) -> None:
    """The first line on standard error is out before the first heavy import begins.

    Every heavy import is made to end the process, so that what is said was said before it, within
    the time that `--help` takes, on any machine.
    """
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    (tmp_path / "table.csv").write_text("run,y\n1,2\n", encoding="utf-8")
    words = [
        word.format(place=tmp_path, study=study) for word in NEEDS.get(name, ["{study}"])
    ]  # fmt: skip
    script = (
        "import sys, os\n"
        "class Stop:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        f"        if name.partition('.')[0] in {HEAVY!r}:\n"
        "            sys.stderr.flush()\n"
        "            os._exit(77)\n"
        "sys.meta_path.insert(0, Stop())\n"
        "from doe.cli.app import run\n"
        f"sys.exit(run({[name, *words]!r}))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, encoding="utf-8", check=False,
        env={**os.environ, "PYTHONUTF8": "1"},
    )  # fmt: skip

    assert done.stdout == "" or done.returncode == 0
    assert done.returncode in (0, 77), done.stderr
    # A command that loads nothing heavy at all has nothing to wait for.
    assert done.returncode == 0 or len(done.stderr.splitlines()) == 1
