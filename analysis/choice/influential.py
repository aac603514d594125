"""What single runs, batches and days do to the compromise, as values and in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from analysis.choice.compromise import SettingsRow
from analysis.lab.response_data import ResponseData, in_words
from doe.model.coding import Axis, ChoiceAxis
from doe.study.finding import Finding

# As for the full models beside the reduced ones (`with_full`); common practice, no source.
FAR = 0.10
DESIRABILITY_APART = 0.05
# A move matters only where it is worth this much desirability by the models without the unit, or
# where a prediction at the present recipe changes by this part of itself; our own, no source.
GAIN, PREDICTION_APART = 0.02, 0.05
_MOST_TOLD = 4
UnitKind = Literal["run", "batch", "day"]
# In the order in which they are told.
KINDS: tuple[UnitKind, ...] = get_args(UnitKind)


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchUnit:
    """What may be left out as a whole: a run, or the runs that a batch or a day holds."""

    kind: UnitKind
    number: int
    runs: tuple[int, ...]

    @property
    def words(self) -> str:
        """Its name in a sentence."""
        return f"{self.kind} {self.number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedSetting:
    """One setting of the compromise with and without a unit, before the steps of the bench.

    Attributes:
        setting: Name.
        unit: Its unit; empty for a share or a choice.
        before: With all runs; None where its level lacks it.
        after: Without the unit.
        part: How far apart, as a part of the range; 1 for another level of a choice.
    """

    setting: str
    unit: str
    before: float | str | None
    after: float | str | None
    part: float

    @property
    def words(self) -> str:
        """The move in a sentence."""
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.setting} from {_word(self.before)} to {_word(self.after)}{unit}"


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedResponse:
    """What one response is predicted to be at the present compromise, response unit."""

    response: str
    unit: str
    before: float
    after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """What leaving out one unit does.

    Attributes:
        unit: What is left out.
        moves: Every setting, in the order of the brief; empty where nothing can be chosen.
        desirability: Overall desirability of the compromise without the unit, by the models without
            it.
        at_present: That of the present compromise, by the same models.
        predictions: Every modelled response at the present compromise.
        not_fitted: Responses whose model the other runs cannot carry; they keep the models of all.
        searched: Whether ascents started all over the region, not from good places alone.
    """

    unit: BenchUnit
    moves: tuple[MovedSetting, ...]
    desirability: float
    at_present: float
    predictions: tuple[MovedResponse, ...]
    not_fitted: tuple[str, ...] = ()
    searched: bool = False

    @property
    def reach(self) -> float:
        """The longest way of any setting, as a part of its range."""
        return max((move.part for move in self.moves), default=0.0)

    @property
    def gain(self) -> float:
        """What moving is worth by the models without the unit, in desirability."""
        return max(0.0, self.desirability - self.at_present)

    @property
    def changed(self) -> float:
        """The largest change of a prediction at the present compromise, as a part of itself."""
        return max(
            (abs(p.after - p.before) / (abs(p.before) or 1.0) for p in self.predictions),
            default=0.0,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class InfluenceOnChoice:
    """The compromise chosen again without each unit.

    Attributes:
        units: The most influential first within each kind; runs, then batches, then days.
        present: Overall desirability of the compromise in use, before the steps.
        held: Responses that were not fitted again, as that takes long.
    """

    units: tuple[Influence, ...]
    present: float
    held: tuple[str, ...] = ()

    def most(self, kind: UnitKind) -> Influence | None:
        """Find the unit of a kind that moves the compromise furthest."""
        return next((one for one in self.units if one.unit.kind == kind), None)

    def _leading(self, kind: UnitKind) -> Influence | None:
        """Find the furthest unit of a kind that matters; without any the furthest of all."""
        own = [one for one in self.units if one.unit.kind == kind]
        return next((one for one in own if _matters(one, self.present)), self.most(kind))

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What to tell of them."""
        leading = [one for kind in KINDS if (one := self._leading(kind)) is not None]
        told = [_told(one, self.present) for one in leading if _matters(one, self.present)]
        quiet = [one for one in leading if not _matters(one, self.present)]
        if quiet:
            told.append(_quiet(quiet))
        lost = [one.unit for one in self.units if one.not_fitted]
        return (*told, *_on_lost(lost), *_on_held(self.held))


def units_of(data: Mapping[str, ResponseData]) -> tuple[BenchUnit, ...]:
    """List the runs of the plan, and the batches and days that hold two or more of several.

    A batch or a day that holds all runs is none that could be left out.
    """
    every = {
        run: (batch, day)
        for one in data.values()
        for run, batch, day, control in zip(one.run, one.batch, one.day, one.control, strict=True)
        if control is None
    }
    units = [BenchUnit(kind="run", number=run, runs=(run,)) for run in sorted(every)]
    known = {unit.runs for unit in units}
    for place, kind in enumerate(KINDS[1:]):
        own: dict[int, list[int]] = {}
        for run in sorted(every):
            number = every[run][place]
            if number is not None:
                own.setdefault(number, []).append(run)
        for number, runs in sorted(own.items()):
            if len(own) > 1 and tuple(runs) not in known:
                known.add(tuple(runs))
                units.append(BenchUnit(kind=kind, number=number, runs=tuple(runs)))
    return tuple(units)


def moved_setting(
    axis: Axis, before: SettingsRow, after: SettingsRow, unit: str = ""
) -> MovedSetting:
    """Set one setting with all runs beside that without some."""
    a, b = before.get(axis.name), after.get(axis.name)
    if isinstance(axis, ChoiceAxis) or not isinstance(a, float | int) or isinstance(b, str | None):
        part = 0.0 if a == b else 1.0
    else:
        part = abs(float(a) - float(b)) / ((axis.high - axis.low) or 1.0)
    return MovedSetting(setting=axis.name, unit=unit, before=a, after=b, part=part)


def _matters(one: Influence, present: float) -> bool:
    """Tell whether a unit changes what the compromise promises, not merely where it lies."""
    if abs(one.at_present - present) > DESIRABILITY_APART:
        return True
    return one.reach > FAR and (one.gain > GAIN or one.changed > PREDICTION_APART)


def _told(one: Influence, present: float) -> Finding:
    far = sorted((move for move in one.moves if move.part > FAR / 2), key=lambda move: -move.part)[
        :_MOST_TOLD
    ]
    moved = "; ".join(move.words for move in far)
    named = one.unit.words
    what = (
        f"Without {named} the compromise moves: {moved}."
        if one.reach > FAR
        else f"Without {named} the compromise stays where it is, but promises another "
        f"desirability: {one.at_present:.2f} instead of {present:.2f}."
    )
    if one.reach > FAR:
        what += (
            f" By the models without it the present settings reach {one.at_present:.2f} of overall "
            f"desirability, the others {one.desirability:.2f}."
        )
    return Finding(
        level="caution",
        what=what,
        evidence={
            f"furthest move without {named}, part of the range": _short(one.reach),
            f"desirability of the present compromise without {named}": _short(one.at_present),
            "desirability with all runs": _short(present),
        },
        advice=f"Look at its cards and readings, and make {_again(one.unit)} once more before the "
        "compromise is agreed; leave nothing out without a reason found at the bench.",
        source="Cook (1977), Technometrics 19, 15-18, applied to the compromise in place of the "
        "coefficients",
    )


def _again(unit: BenchUnit) -> str:
    return f"two or three runs of {unit.words}" if unit.kind == "day" else unit.words


def _quiet(quiet: Sequence[Influence]) -> Finding:
    kinds = " or ".join(one.unit.kind for one in quiet)
    furthest = max(quiet, key=lambda one: one.reach)
    little = (
        f", and that is worth no more than {GAIN:g} of desirability and changes no prediction by "
        f"more than {100 * PREDICTION_APART:g} %"
        if furthest.reach > FAR
        else ""
    )
    return Finding(
        level="note",
        what=f"No single {kinds} decides on the compromise: without {furthest.unit.words}, which "
        f"moves it most, no setting moves by more than {100 * furthest.reach:.2g} % of its range"
        f"{little}.",
        evidence={"furthest move, part of the range": _short(furthest.reach)},
    )


def _on_lost(lost: Sequence[BenchUnit]) -> tuple[Finding, ...]:
    if not lost:
        return ()
    named = [
        in_words(kind, [unit.number for unit in lost if unit.kind == kind])
        for kind in KINDS
        if any(unit.kind == kind for unit in lost)
    ]
    return (
        Finding(
            level="note",
            what=f"Without {', '.join(named)} some response cannot be fitted with the same terms: "
            "what the model says there rests on it alone.",
            evidence={"units": len(lost)},
            advice="Repeat them, or drop the terms that rest on them.",
        ),
    )


def _on_held(held: Sequence[str]) -> tuple[Finding, ...]:
    if not held:
        return ()
    named = ", ".join(f"'{name}'" for name in held)
    return (
        Finding(
            level="note",
            what=f"The influence of runs was judged with the models of {named} as they are: to fit "
            "them again without each run takes long.",
            advice="Ask for it with 'millbase choose --influence'.",
        ),
    )


def _word(value: float | str | None) -> str:
    if value is None:
        return "none"
    return value if isinstance(value, str) else f"{value:.3g}"


def _short(value: float) -> float:
    return float(f"{value:.3g}")
