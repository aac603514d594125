"""What a plan leaves to judge its model by: degrees of freedom by stratum, and repeated runs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from doe.layouts.optimal.wanted import union_model
from doe.model.coding import coding_of
from doe.model.matrix import model_matrix
from doe.model.strata import RESIDUAL, residual_df, strata_of_plan
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.plan import Plan

# Below four degrees of freedom t is above 2.8, and a variance is known to no better than a factor
# of three (chi-squared; DESIGN.md, section 5, asks for a warning below four among batches).
LEAST_DF = 4


def freedom_findings(plan: Plan, study: Study) -> Iterator[Finding]:
    """Tell where a plan leaves too little to know an error by.

    Args:
        plan: The plan; its controls are left out.
        study: Its brief.
    """
    rows = [i for i, kind in enumerate(plan.kind) if kind != "control"]
    coding = coding_of(study)
    values = np.asarray(plan.settings.take(np.array(rows, dtype=np.int64)).values)
    X = model_matrix(values, coding, union_model(plan.rounds[-1].models, coding))
    df = residual_df(strata_of_plan(plan, study, rows), X)
    for name, left in df.items():
        if left >= LEAST_DF or (name == RESIDUAL and len(df) > 1 and left > 0):
            continue
        units = {"batch": "among batches", "day": "among days", RESIDUAL: "for the error"}
        where = units.get(name, f"among the units of {name}")
        what = f"{left} degrees of freedom are left {where}: "
        what += (
            "what is set once a batch will be judged by a badly known error."
            if name == "batch"
            else "its size will be badly known."
        )
        unit = "run" if name == RESIDUAL else name
        more = f"{LEAST_DF - left} more {unit if LEAST_DF - left == 1 else _many(unit)}"
        yield Finding(
            level="caution",
            what=what,
            evidence={"degrees of freedom": left, "stratum": name},
            advice=f"About {more} would leave {LEAST_DF}.",
        )
    whole = np.round(np.nan_to_num(values, nan=-1e9), 9)
    if len(np.unique(whole, axis=0)) == len(whole):
        yield Finding(
            level="note",
            what="No settings are run twice: the model's form can't be tested against pure error.",
            evidence={"replicates": 0},
            advice="Ask for some with --replicates 4.",
        )


def _many(unit: str) -> str:
    return f"{unit}es" if unit.endswith("h") else f"{unit}s"
