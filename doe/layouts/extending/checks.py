"""Check runs: inside the region, where the model was not seen and may be wrong.

A larger model's terms z are told from the model's f by what is left of them, g(x) = z(x) − A'f(x)
with the alias matrix A. A run at x shows a wrong model by g(x) against the variance of its
prediction, so the place is best where g'g / (1 + v(x)) is greatest, z scaled to mean square 1.

Source:
    Box and Draper (1959), JASA 54, 622-654 (alias matrix, bias); Snee (1977), Technometrics 19,
    415-428 (check runs); half-way blends as in Cornell (2002), Experiments with Mixtures, 2.12.
"""

from __future__ import annotations

import numpy as np

from doe.errors import PlanError
from doe.layouts.extending.frame import make_frame
from doe.layouts.extending.gelled import away_from_gelled, distances
from doe.layouts.extending.linking import best_units, repeatable_units
from doe.layouts.extending.measure import average_variance, row_key, yardstick
from doe.layouts.extending.request import Extension, Purpose
from doe.layouts.extending.searching import NewRuns, as_layout, split_budget
from doe.layouts.optimal.candidates import candidate_settings
from doe.layouts.placing import REGION_TOLERANCE
from doe.layouts.request import LayoutRuns
from doe.model.bench_steps import round_to_steps
from doe.model.coding import ChoiceAxis, NumericAxis, code, decode
from doe.model.expansion import compile_model
from doe.model.matrix import model_matrix
from doe.model.moments import region_moments
from doe.model.strata import stages_of
from doe.model.terms import Model, make_model, model_names
from doe.model.vertices import overall_centroid
from doe.study.brief import STAGES
from doe.study.settings import FloatArray

_DEFAULT = 3
# A check run nearer than this to a run that is done, in coded units, would tell little new.
_SEEN = 0.25
_SAMPLE = STAGES.index("sample")


def make(ask: Extension) -> LayoutRuns:
    """Place check runs where a wrong model would show most.

    Raises:
        PlanError: The region has no inside that was not seen yet, or the budget is too small.
    """
    stick = yardstick(ask)
    sizes, links = split_budget(ask, max(_DEFAULT, len(ask.coding.shares)), 1)
    places = _places(ask)
    if not len(places):
        raise PlanError(
            "every place inside the region that could check the model was run already",
            where="--for check",
            do="Repeat runs instead: 'millbase extend STUDY --for replicates'.",
        )
    frame = make_frame(ask, sizes)
    n = sum(sizes[links:])
    chosen = _chosen(ask, places, sizes[links:])
    units = repeatable_units(ask)
    link = best_units(ask, stick, frame, links, chosen) if links else []
    values = np.vstack([*(units[i] for i in link), chosen])
    values, findings = away_from_gelled(ask, values)
    new = NewRuns(
        frame=frame, values=values, n_links=len(values) - n, findings=findings,
        variance=average_variance(ask, stick, frame, np.vstack([ask.held, values])),
    )  # fmt: skip
    return as_layout(ask, stick, new, "check", (_reason(ask, n),))


def _reason(ask: Extension, n: int) -> str:
    beyond = _beyond(ask)
    told = (
        f"where the {beyond.name} model would differ most from the {ask.model} one, for the "
        "precision there"
        if beyond is not None
        else "where the prediction is least sure"
    )
    where = "half-way from the centre to the ends of the region"
    return f"{n} check runs stand {where}, {told}: the model has not been seen there."


def _beyond(ask: Extension) -> Model | None:
    """Give the terms of the next larger model that the model lacks; None for the largest."""
    names = model_names(ask.coding)
    model = make_model(ask.model, ask.coding)
    for name in names[names.index(ask.model) + 1 :]:
        terms = tuple(t for t in make_model(name, ask.coding).terms if t not in model.terms)
        if terms:
            return Model(name=name, terms=terms)
    return None


def _places(ask: Extension) -> FloatArray:
    """List settings half-way between the centre and the ends of each part of the region."""
    ends = candidate_settings(ask.region, 0, np.random.default_rng([ask.seed, 3]))
    centres = overall_centroid(ask.region)
    same = [
        j
        for j, axis in enumerate(ask.coding.axes)
        if isinstance(axis, ChoiceAxis) or (isinstance(axis, NumericAxis) and axis.levels)
    ]
    rows = [centres]
    for centre in centres:
        gaps = np.nan_to_num(ends[:, same], nan=-1.0) == np.nan_to_num(centre[same], nan=-1.0)
        own = ends[np.all(gaps, axis=1)]
        coded = (code(own, ask.coding) + code(centre[None, :], ask.coding)) / 2
        rows.append(decode(coded, ask.coding))
    places = round_to_steps(np.vstack(rows), ask.region)
    places = places[ask.region.contains(places, REGION_TOLERANCE)]
    far = [distances(row, ask.held, ask.coding).min(initial=np.inf) > _SEEN for row in places]
    unseen: FloatArray = places[np.array(far, dtype=np.bool_)]
    return unseen


def _chosen(ask: Extension, places: FloatArray, sizes: tuple[int, ...]) -> FloatArray:
    """Choose the most telling places one after the other; samples of a batch share its settings."""
    later = [j for j, stage in enumerate(stages_of(ask.study)) if STAGES.index(stage) >= _SAMPLE]
    rows = np.zeros((0, places.shape[1]))
    for size in sizes:
        taken = {row_key(row) for row in rows}
        fresh = [i for i, place in enumerate(places) if row_key(place) not in taken]
        offered = places[fresh] if fresh else places
        for sample in range(size):
            if sample:
                offered = np.tile(rows[-1], (len(places), 1))
                offered[:, later] = places[:, later]
                offered = offered[ask.region.contains(offered, REGION_TOLERANCE)]
            telling = np.round(_telling(ask, offered, rows), 9)
            rows = np.vstack([rows, offered[int(np.argmax(telling))]])
    return rows


def _telling(ask: Extension, places: FloatArray, added: FloatArray) -> FloatArray:
    """Measure how much a wrong model would show at each place, shape (c,)."""
    done = np.vstack([ask.held, added])
    model = make_model(ask.model, ask.coding)
    X, F = (model_matrix(rows, ask.coding, model) for rows in (done, places))
    # v = f'(X'X)^- f through the pseudo-inverse: the model may not be told wholly yet.
    v = np.square(F @ np.linalg.pinv(X)).sum(axis=1)
    beyond = _beyond(ask)
    if beyond is None:
        return np.asarray(v)
    expansion = compile_model(ask.coding, beyond)
    scale = np.sqrt(np.maximum(np.diag(region_moments(ask.region, expansion, ask.seed)), 1e-12))
    Z, z = (expansion.matrix(code(rows, ask.coding)) / scale for rows in (done, places))
    held = len(ask.held)
    A = np.linalg.lstsq(X[:held], Z[:held], rcond=None)[0]
    g = z - F @ A
    if len(added):
        # Directions of misfit that the added runs show already are not counted again.
        shown = Z[held:] - X[held:] @ A
        g = g - (g @ np.linalg.pinv(shown)) @ shown
    telling: FloatArray = np.square(g).sum(axis=1) / (1.0 + v)
    return telling


PURPOSE = Purpose(
    name="check",
    title="Check runs",
    for_="The model is to be tested where it was not seen before it is relied upon.",
    make=make,
)
