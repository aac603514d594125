"""One function a command: read, compute, write, return a value. The Python interface.

Example, in a notebook:

    from doe.steps import fit_study, predict_study, predictions_frame
    predictions_frame(predict_study(path, at=["dose=1.4", "pH=9"]))
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

# Name → module; loaded when asked for, as numpy and scipy take longer than a help text may.
_HOMES = {
    "new_study": "new",
    "check_study": "check",
    "plan_study": "plan",
    "PlanOptions": "plan",
    "extend_study": "extend",
    "ExtendOptions": "extend",
    "appraise_study": "appraise",
    "AppraiseOptions": "appraise",
    "make_sheets": "sheet",
    "enter_files": "enter",
    "note_study": "note",
    "NoteOptions": "note",
    "adopt_table": "adopt",
    "fit_study": "fit",
    "FitOptions": "model_choice",
    "predict_study": "predict",
    "choose_study": "choose",
    "ChooseOptions": "choose",
    "assess_study_risk": "risk",
    "RiskOptions": "risk",
    "report_study": "report",
    "run_demo": "demo",
    "plan_frame": "frames",
    "readings_frame": "frames",
    "coefficients_frame": "frames",
    "predictions_frame": "frames",
}

__all__ = list(_HOMES)


def __getattr__(name: str) -> Any:
    """Load a step when it is first asked for."""
    if name not in _HOMES:
        raise AttributeError(f"doe.steps has no '{name}'; it has {', '.join(sorted(_HOMES))}")
    return getattr(import_module(f"doe.steps.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted(_HOMES)
