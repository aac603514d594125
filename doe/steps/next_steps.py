"""What to do next after `fit`, most important first: a table of rules over what was found.

What the bench must look at comes before what the desk can mend, and that before new runs; the last
line is the way on. Each rule speaks once for all responses that it finds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Set
from dataclasses import dataclass

from analysis.fits.box_cox import typed_scale
from analysis.fits.drift_correction import clear_drift
from analysis.fits.findings import CLEAR
from analysis.fits.fitted_response import FittedResponse
from analysis.lab.response_data import in_words
from doe.steps.analysis_of import StudyAnalysis
from doe.study.names import fold
from doe.study.sentence import in_quotes

# As many as a person keeps in mind and does before fitting again; common practice, no source.
MOST_STEPS = 5
# How the finding on few degrees of freedom names its evidence.
_FEW_DF = "degrees of freedom, "
_BECAUSE = '--keep --because "…"'


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """One thing to do.

    Attributes:
        what: What to do and why, a sentence without its end.
        command: What to type, `STUDY` for the folder; empty where the bench has to act.
        responses: The responses that ask for it; empty for the whole study.
    """

    what: str
    command: str = ""
    responses: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """The step with its command."""
        return f"{self.what}: {self.command}" if self.command else f"{self.what}."


Rule = Callable[[StudyAnalysis], NextStep | None]


def next_steps(analysis: StudyAnalysis) -> tuple[NextStep, ...]:
    """List what to do next, at most five steps; the way on alone where nothing is needed.

    Where no model tells recipes apart there is no way on.
    """
    on = way_on(analysis)
    return (*steps_of_models(analysis), *([] if on is None else [on]))


def steps_of_models(analysis: StudyAnalysis) -> tuple[NextStep, ...]:
    """List what the models and their readings ask for, most important first; often nothing."""
    asked = (rule(analysis) for rule in RULES)
    return tuple(step for step in asked if step is not None)[: MOST_STEPS - 1]


def way_on(analysis: StudyAnalysis) -> NextStep | None:
    """Give the step that follows once the models are good enough; None where none can tell."""
    plan, chosen = analysis.session.plan, analysis.session.choices.chosen
    if plan is not None and "confirm" in plan.kind:
        return NextStep(
            what="Hold the confirmation batches against what was foretold",
            command="millbase confirm STUDY --judge",
        )
    if chosen is not None and chosen.settings:
        return NextStep(
            what="Confirm the settings that were kept by new batches",
            command="millbase confirm STUDY",
        )
    aimed = {one.name for one in analysis.session.study.responses if one.aim is not None}
    if not _tells_recipes_apart(analysis, aimed):
        return None
    what = "Go on to choose the settings"
    if not aimed:
        what = (
            "Write what is wanted into study.toml, as no response has an aim and so no recipe is "
            "better than another (aim, best and worst under [[response]]); then choose the settings"
        )
    return NextStep(what=what, command="millbase choose STUDY")


def _tells_recipes_apart(analysis: StudyAnalysis, aimed: Set[str]) -> bool:
    """Tell whether a response that has an aim, or any where none has, is modelled and varies."""
    varies = {name for name, one in analysis.fitted.items() if one.varies}
    varies |= set(analysis.computed)
    return bool(varies & aimed if aimed else varies)


def _doubts(analysis: StudyAnalysis) -> NextStep | None:
    n = sum(one.level != "note" for one in analysis.doubts)
    if not n:
        return None
    them = "the doubt" if n == 1 else f"the {n} doubts"
    return NextStep(
        what=f"Look at {them} about what came from the bench, and settle {_each(n)} by a note",
        command="millbase check STUDY",
    )


def _outliers(analysis: StudyAnalysis) -> NextStep | None:
    runs: dict[int, list[str]] = {}
    for name, fitted in analysis.fitted.items():
        for outlier in fitted.assessment.outliers:
            if not _stands(analysis, outlier.run, name):
                runs.setdefault(outlier.run, []).append(name)
    if not runs:
        return None
    names = tuple(dict.fromkeys(name for own in runs.values() for name in own))
    one = len(runs) == 1
    return NextStep(
        what=f"Look at the card{'' if one else 's'} and readings of {in_words('run', list(runs))} "
        f"({', '.join(names)}), which {'lies' if one else 'lie'} far from what the other runs "
        f"give, and say what you find of {'it' if one else 'each'}",
        command=f'millbase note STUDY --run {min(runs)} --says … --because "…"',
        responses=names,
    )


def _drift(analysis: StudyAnalysis) -> NextStep | None:
    drifts = analysis.control_drifts
    names = [
        name
        for name, fitted in analysis.fitted.items()
        if fitted.fit.drift is None and clear_drift(drifts[name]) is not None
    ]
    if not names:
        return None
    return NextStep(
        what=f"Find out why controls drifted in {in_quotes(names)}; if all runs drifted alike, "
        "take it off",
        command=f"millbase fit STUDY{_only(names)} --correct-drift {_BECAUSE}",
        responses=tuple(names),
    )


def _form(analysis: StudyAnalysis) -> NextStep | None:
    found = {
        name: fitted.form.better.form
        for name, fitted in analysis.fitted.items()
        if fitted.form is not None and fitted.form.bend is None and fitted.form.better is not None
    }
    if not found:
        return None
    form = next(iter(found.values()))
    names = [name for name, own in found.items() if own == form]
    return NextStep(
        what=f"Keep a form in place of the polynomial of {in_quotes(names)}, if it makes sense for "
        "the mill",
        command=f'millbase fit STUDY{_only(names)} --form "{form}" {_BECAUSE}',
        responses=tuple(names),
    )


def _scale(analysis: StudyAnalysis) -> NextStep | None:
    wanted = {
        name: typed_scale(fitted.assessment.box_cox)
        for name, fitted in analysis.fitted.items()
        if fitted.assessment.box_cox is not None and _asks_for_scale(fitted)
    }
    if not wanted:
        return None
    scale = next(iter(wanted.values()))
    names = [name for name, own in wanted.items() if own == scale]
    what = f"Try another scale for {in_quotes(names)}, as the scatter asks for it"
    if "power" in scale:
        what = f"Write {scale} into the brief for {in_quotes(names)}, as the scatter asks for it"
        return NextStep(what=what, command="millbase fit STUDY", responses=tuple(names))
    value = scale.removeprefix("scale = ")
    return NextStep(
        what=what,
        command=f"millbase fit STUDY{_only(names)} --scale {value} {_BECAUSE}",
        responses=tuple(names),
    )


def _useless(analysis: StudyAnalysis) -> NextStep | None:
    names = [
        name
        for name, fitted in analysis.fitted.items()
        if fitted.assessment.r2_predicted is not None and fitted.assessment.r2_predicted < 0
    ]
    if not names:
        return None
    it = "model of" if len(names) == 1 else "models of"
    return NextStep(
        what=f"Rest no decision on the {it} {in_quotes(names)}, which cannot foretell a run left "
        "out; leave out terms that do not pay and see",
        command=f"millbase fit STUDY{_only(names)} --reduce",
        responses=tuple(names),
    )


def _lack_of_fit(analysis: StudyAnalysis) -> NextStep | None:
    names = [
        name
        for name, fitted in analysis.fitted.items()
        if any(test.p is not None and test.p < CLEAR for test in fitted.assessment.lack_of_fit)
    ]
    if not names:
        return None
    return NextStep(
        what=f"Make runs for a larger model, as that of {in_quotes(names)} misses more than "
        "replicates scatter",
        command="millbase extend STUDY --for model",
        responses=tuple(names),
    )


def _batches(analysis: StudyAnalysis) -> NextStep | None:
    few = {name: list(_thin_strata(one)) for name, one in analysis.fitted.items()}
    names = [name for name, strata in few.items() if "batch" in strata]
    if not names:
        return None
    return NextStep(
        what=f"Make more batches, not more samples of them, as too few tell what rests on batches "
        f"in {in_quotes(names)}",
        command="millbase extend STUDY --for replicates --batches 4",
        responses=tuple(names),
    )


def _replicates(analysis: StudyAnalysis) -> NextStep | None:
    names = [
        name
        for name, fitted in analysis.fitted.items()
        if fitted.fit.method != "ml"
        and not fitted.assessment.lack_of_fit
        and (fitted.assessment.residual_sd or 0.0) > 0.0
        and not _tells_scatter_alone(fitted)
    ]
    if not names:
        return None
    return NextStep(
        what=f"Make some runs twice, as nothing tells misfit from scatter in {in_quotes(names)}",
        command="millbase extend STUDY --for replicates",
        responses=tuple(names),
    )


def _check_runs(analysis: StudyAnalysis) -> NextStep | None:
    names = [name for name, fitted in analysis.fitted.items() if _tells_scatter_alone(fitted)]
    if not names:
        return None
    return NextStep(
        what=f"Add check runs inside the region, as replicates tell the scatter of "
        f"{in_quotes(names)} but nothing tells whether the form of the model is right",
        command="millbase extend STUDY --for check",
        responses=tuple(names),
    )


def _not_fitted(analysis: StudyAnalysis) -> NextStep | None:
    names = tuple(analysis.not_fitted)
    if not names:
        return None
    return NextStep(
        what=f"See what {in_quotes(names)} still {'lacks' if len(names) == 1 else 'lack'} for a "
        "model",
        command="millbase check STUDY",
        responses=names,
    )


# Most important first: bench, then desk, then new runs.
RULES: tuple[Rule, ...] = (
    _doubts, _outliers, _not_fitted, _drift, _useless, _form, _scale, _lack_of_fit, _batches,
    _replicates, _check_runs,
)  # fmt: skip


def _stands(analysis: StudyAnalysis, run: int, response: str) -> bool:
    """Tell whether somebody looked at a run and said that its reading stands."""
    return any(
        note.subject == "run" and note.number == run and note.says == "stands"
        for note in analysis.session.choices.standing_notes()
        if note.response is None or fold(note.response) == fold(response)
    )


def _asks_for_scale(fitted: FittedResponse) -> bool:
    return any("best power" in one.evidence and one.level != "note" for one in fitted.findings)


def _tells_scatter_alone(fitted: FittedResponse) -> bool:
    """Tell whether replicates take all that the model leaves, as with a term for each setting."""
    known = fitted.assessment
    scatters = (known.residual_sd or 0.0) > 0.0
    return scatters and not known.lack_of_fit and any(r.source == "pure error" for r in known.anova)


def _thin_strata(fitted: FittedResponse) -> Iterator[str]:
    """Name the strata that a finding calls thin."""
    for finding in fitted.findings:
        for key in finding.evidence:
            if key.startswith(_FEW_DF):
                yield key.removeprefix(_FEW_DF)


def _only(names: Iterable[str]) -> str:
    return "".join(f' --only "{name}"' for name in names)


def _each(n: int) -> str:
    return "it" if n == 1 else "each"
