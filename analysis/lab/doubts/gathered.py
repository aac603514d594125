"""All doubts about what came from the bench."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from analysis.lab.doubts.balance import open_balances
from analysis.lab.doubts.bench import Bench
from analysis.lab.doubts.copies import copied_lines
from analysis.lab.doubts.curve_copies import copied_curves
from analysis.lab.doubts.drift import drifting_controls
from analysis.lab.doubts.possible import impossible_raw_readings
from analysis.lab.doubts.repeats import torn_repeats
from analysis.lab.doubts.settings import far_settings
from analysis.lab.doubts.standards import drifting_standards
from doe.study.doubt import Doubt

DOUBTS: tuple[Callable[[Bench], Iterator[Doubt]], ...] = (
    impossible_raw_readings,
    torn_repeats,
    copied_lines,
    copied_curves,
    drifting_controls,
    drifting_standards,
    far_settings,
    open_balances,
)


def doubts_of(bench: Bench) -> tuple[Doubt, ...]:
    """Look for every kind of doubt; `doe.study.doubt` settles and tells them."""
    return tuple(doubt for find in DOUBTS for doubt in find(bench))
