"""What nobody has tested is told by rules: each is fired and silenced once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from analysis.agreement.not_tested import WhatWasDone, not_tested
from doe.study.agreement import AgreedConfirmation
from doe.study.brief import Study
from doe.study.plan import Kind, Plan, Round
from doe.study.settings import Settings


def brief(responses: list[dict[str, Any]], factors: list[dict[str, Any]] | None = None) -> Study:
    """Write a brief of a dose and some responses."""
    dose = {"name": "dose", "low": 1.0, "high": 3.0}
    return Study.model_validate(
        {"study": {"title": "t"}, "factor": [dose, *(factors or [])], "response": responses}
    )


def runs(columns: Mapping[str, list[float]], control: str = "") -> Plan:
    """Write a plan, its first run of a control if one is named."""
    names, n = tuple(columns), len(next(iter(columns.values())))
    none = (None,) * n
    kinds: list[Kind] = ["design"] * n
    kinds[0] = "control" if control else "design"
    return Plan(
        settings=Settings(names=names, values=np.array(list(columns.values())).T),
        run=tuple(range(1, n + 1)), round=(1,) * n, day=none, batch=none, sample=none, panel=none,
        kind=tuple(kinds),
        rounds=(Round(number=1, layout="adopted", models=(),
                      controls={1: control} if control else {}),),
    )  # fmt: skip


UPTAKE = {"name": "water uptake", "from": "water uptake", "age_d": 7}
DONE = WhatWasDone(
    study=brief([UPTAKE, {"name": "viscosity"}]), plan=runs({"dose": [1.0, 2.0]}),
    settings={"dose": 2.0}, n_read={"water uptake": 8, "viscosity": 8},
)  # fmt: skip
HERE = AgreedConfirmation(number=1, where="laboratory", verdict="confirmed")


def said(done: WhatWasDone) -> str:
    """Give all sentences as one text."""
    return "\n".join(not_tested(done))


def test_a_study_is_told_what_it_lacks() -> None:
    """Seven days and no older film, no plant, no storage, no fineness, no drift, no lot."""
    text = said(DONE)

    for words in ("no batch was made to confirm", "Plant scale", "films were 7 d old",
                  "Storage", "fineness and strength were not read", "Drift in production",
                  "other lots", "Controls: none"):  # fmt: skip
        assert words in text
    assert "Beyond the ends" not in text


def test_a_confirmation_counts_only_at_these_settings_and_once_judged() -> None:
    """Batches at other settings, or that wait, confirm nothing."""
    waits, elsewhere = replace(HERE, verdict=""), replace(HERE, here="no")

    confirmed = said(replace(DONE, confirmations=(HERE,)))
    assert "Confirmation" not in confirmed
    assert "Plant scale" in confirmed
    assert "their readings wait" in said(replace(DONE, confirmations=(waits,)))
    assert "made at other settings" in said(replace(DONE, confirmations=(elsewhere,)))
    plant = replace(HERE, where="plant")
    assert "Plant scale" not in said(replace(DONE, confirmations=(plant,)))


def test_an_older_film_and_stored_cans_silence_their_rules() -> None:
    """Each rule goes by what was read, not by what was planned."""
    older = UPTAKE | {"name": "water uptake, 28 d", "age_d": 28}
    stored = {"name": "viscosity after storage"}
    study = brief([UPTAKE, older, stored, {"name": "fineness"}])
    read = {one.name: 8 for one in study.responses}
    text = said(replace(DONE, study=study, n_read=read))

    assert "7 d old" not in text
    assert "films were 28 d old" in text
    assert "Storage" not in text
    assert "fineness" not in text
    unread = said(replace(DONE, study=study, n_read=read | {stored["name"]: 0}))
    assert "Storage" in unread
    assert "Viscosity after storage: in the brief, and no run has a reading" in unread


def test_noise_that_stood_still_in_the_runs_is_named() -> None:
    """A factor that the brief calls noise teaches nothing where it never moved."""
    heat = {"name": "mill temperature", "unit": "°C", "low": 25.0, "high": 45.0, "noise": True}
    study = brief([UPTAKE, {"name": "viscosity"}], [heat])
    still = runs({"dose": [1.0, 2.0], "mill temperature": [35.0, 35.0]})
    moved = runs({"dose": [1.0, 2.0], "mill temperature": [25.0, 45.0]})

    assert "mill temperature was not varied" in said(replace(DONE, study=study, plan=still))
    assert "Drift" not in said(replace(DONE, study=study, plan=moved))


def test_ends_of_ranges_guesses_and_gelling_are_named() -> None:
    """What lies outside, or just at the end, has nothing beyond it."""
    text = said(replace(DONE, settings={"dose": 3.0}, is_inside=False, gelled=(4, 9)))

    assert "dose 3 lies at an end" in text
    assert "outside the region" in text
    assert "runs 4, 9 gelled" in text


def test_a_control_without_a_comparison_is_named() -> None:
    """It was run, and still nothing is known of the gain on it."""
    plan = runs({"dose": [1.0, 2.0]}, control="no additive")

    assert "'no additive' was run, but could not be compared" in said(replace(DONE, plan=plan))
    assert "Controls" not in said(replace(DONE, plan=plan, compared=("No additive",)))
