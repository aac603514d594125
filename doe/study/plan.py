"""The plan as a value: which runs, in which order and units, and how each round was made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

from doe.study.settings import Settings

Kind = Literal[
    "design", "centre", "replicate", "axial", "check", "repair", "foldover", "compromise",
    "control", "confirm",
]  # fmt: skip
KINDS: tuple[Kind, ...] = get_args(Kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """One campaign of runs and how it was made: one entry of `plan.json`.

    Attributes:
        number: 1 for the first plan.
        layout: Name in the registry, or `adopted`.
        models: Names of the models it was made for.
        criterion: Name of the criterion, empty for a classic layout.
        criterion_value: Its value, None for a classic layout.
        seed: Seed of every random choice in it.
        version: Version of millbase that made it.
        region_hash: Hash of the part of the brief that the runs rest on.
        goals_hash: Hash of the goals as they stood; told, never held against a run.
        runs: Run numbers of the round.
        controls: Name of the control of each run of kind `control`.
        reasons: Why this layout, in a few sentences.
        details: What else the layout wants on record (alias chains, axial distance, costs): JSON
            values. Maps keyed by run or batch numbers keep numbers as keys. `blocks`
            holds the block label of each run where there are blocks.
    """

    number: int
    layout: str
    models: tuple[str, ...]
    criterion: str = ""
    criterion_value: float | None = None
    seed: int | None = None
    version: str = ""
    region_hash: str = ""
    goals_hash: str = ""
    runs: tuple[int, ...] = ()
    controls: Mapping[int, str] = field(default_factory=dict)
    reasons: tuple[str, ...] = ()
    details: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """The runs of a study in bench order; every tuple has one entry a run.

    Attributes:
        settings: Planned settings, n rows, lab units.
        run: Run numbers, unique in the study, never reused.
        round: The round each run came with.
        day: Day of the plan, None where the plan has no days.
        batch: Mill batch number, unique in the study.
        sample: Sample number within the study, None where no stage below the batch is planned.
        panel: Panel number within the study, None where no panel is planned.
        kind: What the run is for.
        rounds: How the rounds were made.
        issued: Highest run, batch, sample and panel number ever issued, by these words; needed
            only where runs were dropped or replaced, since no number is used twice.
    """

    settings: Settings
    run: tuple[int, ...]
    round: tuple[int, ...]
    day: tuple[int | None, ...]
    batch: tuple[int | None, ...]
    sample: tuple[int | None, ...]
    panel: tuple[int | None, ...]
    kind: tuple[Kind, ...]
    rounds: tuple[Round, ...]
    issued: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        sizes = {
            len(self.settings), len(self.run), len(self.round), len(self.day), len(self.batch),
            len(self.sample), len(self.panel), len(self.kind),
        }  # fmt: skip
        if len(sizes) != 1:
            raise ValueError(f"columns of unequal length: {sorted(sizes)}")
        if len(set(self.run)) != len(self.run):
            raise ValueError("a run number stands twice")

    def __len__(self) -> int:
        return len(self.run)

    @property
    def control_names(self) -> dict[int, str]:
        """The control each control run is of, by run number."""
        return {run: name for entry in self.rounds for run, name in entry.controls.items()}
