"""What the bench says of one response, ready to be modelled, as a value."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from doe.study.brief import Response
from doe.study.finding import Finding
from doe.study.readings import Flag, Reading
from doe.study.settings import Settings

BlockEffect = Literal["fixed", "random"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocking:
    """The blocks that runs were made in.

    Attributes:
        name: What a block is: `day`, `round`, or the brief's own word.
        of: Block of each run; None where a run has none.
        effect: Whether the brief and DESIGN.md, section 5, call them fixed or random.
        planned: True for blocks of the layout or the table; days and rounds just happen.
        because: Why they are fixed or random, as a phrase.
    """

    name: str
    of: tuple[str | None, ...]
    effect: BlockEffect
    planned: bool
    because: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ResponseData:
    """One response over the n runs that can be fitted; every tuple has one entry a run.

    Attributes:
        response: The response of the brief.
        run: Run numbers, in the order of the plan.
        planned: Settings as planned; replicates are recognised by them.
        actual: Settings as made; these are fitted.
        repeats: Readings of the run, response unit, in order of repeat.
        kind: What each run was for.
        control: Name of the control, None for a run of the plan.
        batch: Mill batch; None where none is on record, then each run counts as its own.
        day: Day as done.
        sample: Sample number.
        panel: Panel number.
        block: Block of each run, None where there are no blocks.
        order: Place of each run in the order as done.
        blocking: What the blocks are; None without any.
        off_scale: Flag of each run that least squares cannot take, by run number.
        off_scale_readings: All readings of those runs, for a likelihood that can.
        whole: The same with the runs off the scale among the rows, each standing by the end that is
            known of it, for a likelihood that takes `ends`; None where no run is off the scale.
        ends: Of `whole` only: between which values each reading of a run off the scale lies,
            response unit, by run number.
        gelled: Runs that gelled, among those off the scale or left out.
        pending: Runs of the plan without a reading so far.
        left_out: Why each other run is not fitted, by run number.
        drift_middle: Place in the order as done that a straight drift is taken off to, where it is
            fitted beside the model; None where nothing is corrected.
        findings: What the reader ought to know of the data.
    """

    response: Response
    run: tuple[int, ...]
    planned: Settings
    actual: Settings
    repeats: tuple[tuple[float, ...], ...]
    kind: tuple[str, ...]
    control: tuple[str | None, ...]
    batch: tuple[int | None, ...]
    day: tuple[int | None, ...]
    sample: tuple[int | None, ...]
    panel: tuple[int | None, ...]
    block: tuple[str | None, ...]
    order: tuple[float, ...]
    blocking: Blocking | None = None
    off_scale: Mapping[int, Flag] = field(default_factory=dict)
    off_scale_readings: Mapping[int, tuple[Reading, ...]] = field(default_factory=dict)
    whole: ResponseData | None = None
    ends: Mapping[int, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    gelled: tuple[int, ...] = ()
    pending: tuple[int, ...] = ()
    left_out: Mapping[int, str] = field(default_factory=dict)
    drift_middle: float | None = None
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        sizes = {
            len(self.run), len(self.planned), len(self.actual), len(self.repeats), len(self.kind),
            len(self.control), len(self.batch), len(self.day), len(self.sample), len(self.panel),
            len(self.block), len(self.order),
        }  # fmt: skip
        if len(sizes) != 1:
            raise ValueError(f"columns of unequal length: {sorted(sizes)}")
        if any(not repeats for repeats in self.repeats):
            raise ValueError("a run without a reading among those to be fitted")

    def __len__(self) -> int:
        return len(self.run)


def in_words(noun: str, numbers: Sequence[int]) -> str:
    """Name several units in a sentence.

    Example:
        >>> in_words("run", [7, 3, 5])
        'runs 3, 5 and 7'
    """
    ordered = [str(number) for number in sorted(set(numbers))]
    if len(ordered) == 1:
        return f"{noun} {ordered[0]}"
    plural = f"{noun}es" if noun.endswith("ch") else f"{noun}s"
    return f"{plural} {', '.join(ordered[:-1])} and {ordered[-1]}"
