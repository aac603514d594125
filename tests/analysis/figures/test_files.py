"""Figures written on several cores: the same bytes as on one, and never at the price of a halt."""

import subprocess
import sys
from textwrap import dedent

_BEGIN = dedent("""
    import _thread, os, time
    os.cpu_count = lambda: 2
    from matplotlib.figure import Figure
    from analysis.figures import files

    def figure(height):
        drawn = Figure(figsize=(2, 2))
        drawn.subplots().plot([0, 1], [0, height])
        return drawn

    figures = {f"line-{n}": figure(n) for n in range(files.FEW)}
    branched = []
    pool = files.multiprocessing.get_context
    files.multiprocessing.get_context = lambda how: branched.append(how) or pool(how)
""")


def _says(code: str) -> str:
    """Run code in a process of its own, as a test's process may have threads beside it."""
    done = subprocess.run(
        [sys.executable, "-c", _BEGIN + dedent(code)],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    return done.stdout.strip()


def test_branches_write_the_same_bytes_as_one_process() -> None:
    """On Linux with two cores; elsewhere one process writes all."""
    said = _says("""
        many = files.save_figures(figures)
        os.cpu_count = lambda: 1
        print(branched, dict(many) == dict(files.save_figures(figures)), len(many))
    """)
    expected = "['fork'] True 24" if sys.platform == "linux" else "[] True 24"
    assert said == expected


def test_no_branch_is_made_beside_a_thread_that_python_does_not_count() -> None:
    """A lock held by that thread would stay shut in the branch, which then waits for ever."""
    said = _says("""
        _thread.start_new_thread(time.sleep, (60,))
        files.save_figures(figures)
        print(branched)
    """)
    assert said == "[]"
