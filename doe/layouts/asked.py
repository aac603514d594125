"""Numbers that a plan is asked for: what cannot be met is refused before anything is tried."""

from __future__ import annotations

from collections.abc import Mapping

from doe.errors import PlanError
from doe.layouts.blocking import block_rule
from doe.layouts.full_factorial import MOST_RUNS as LARGEST_TABLE
from doe.layouts.optimal.refusing import MOST_RUNS
from doe.layouts.sampling_batches import has_samples
from doe.study.brief import Study

# A hundred times the usual 48 starts: hours of search. Beyond that a search would not come back.
MOST_STARTS = 4800
_RUNS = ("runs", "batches", "replicates", "lack-of-fit", "centre")


def refuse_numbers(study: Study, asked: Mapping[str, int | None], *, optimal: bool) -> None:
    """Refuse numbers that no plan of this brief can have, each under its own option.

    Args:
        study: The brief.
        asked: Numbers by option, without its hyphens; None where nothing is asked for.
        optimal: Whether the plan is to be searched; else a table may do.

    Raises:
        PlanError: A number is too large, or two of them contradict each other.
    """
    most = MOST_RUNS if optimal else LARGEST_TABLE
    for option in _RUNS:
        value = asked.get(option)
        if value is not None and value > most:
            raise PlanError(
                f"{value} {'batches' if option == 'batches' else 'runs'} are asked for",
                where=f"--{option}",
                allowed=f"up to {most} in {'an optimal plan' if optimal else 'any plan'}",
                do="A plan of that size is made in rounds: see 'millbase extend --help'.",
            )
    starts = asked.get("starts")
    if starts is not None and starts > MOST_STARTS:
        raise PlanError(
            f"a search from {starts} starts would not end", where="--starts",
            allowed=f"up to {MOST_STARTS}; 48 without it",
        )  # fmt: skip
    _refuse_days(study, asked, most)
    _refuse_batches(study, asked.get("batches"), asked.get("runs"))


def _refuse_days(study: Study, asked: Mapping[str, int | None], most: int) -> None:
    """Refuse more days than there are batches to fill them, or than a plan may take."""
    days = asked.get("days")
    if days is None:
        return
    n = asked.get("batches") or asked.get("runs")
    rule = block_rule(study)
    room = rule.room if rule is not None and rule.name == "day" else 1
    if n is not None and days > n:
        raise PlanError(
            f"{n} batches cannot fill {days} days",
            where="--days",
            allowed=f"up to {n}, or more runs",
        )
    if days * room > most:
        raise PlanError(
            f"{days} days are asked for",
            where="--days",
            allowed=f"up to {most // room}, at {room} batches a day"
            if room > 1
            else f"up to {most}",
            do="A plan of that size is made in rounds: see 'millbase extend --help'.",
        )


def _refuse_batches(study: Study, batches: int | None, runs: int | None) -> None:
    """Refuse a number of batches that the runs do not fill, or that has no meaning here."""
    if batches is None or runs is None:
        return
    if runs < batches:
        raise PlanError(
            f"{runs} runs cannot fill {batches} batches",
            where="--batches",
            allowed=f"up to {runs}, or {batches} runs or more (a multiple of {batches})",
        )
    if runs != batches and not has_samples(study):
        raise PlanError(
            f"{runs} runs in {batches} batches are asked for, and every run of this study is a "
            "mill batch of its own: nothing is set per sample",
            where="--batches",
            allowed=f"{runs}, or leave it out",
            do='If samples of one batch are to differ, give a factor set_per = "sample". If a '
            "batch is only to be measured several times, enter the repeats as further readings of "
            "its run: they tell about sampling, not about new batches.",
        )
