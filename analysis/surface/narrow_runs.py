"""When the interval of one new run comes out narrower than that of the true value, and what then.

Both intervals are kept as they are published: the mean by Kenward and Roger, the run by
Satterthwaite on its total variance. Where the mean rests on about one degree of freedom and the
total on more, the first quantile is so much the larger that the intervals cross, although no run
is surer than the mean that it scatters about.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from doe.study.finding import Finding
from doe.study.settings import BoolArray, FloatArray

# Ends are compared in digits that a table could show; less is rounding.
_ROUNDING = 1e-9


def is_narrower(mean_interval: FloatArray, run_interval: FloatArray) -> BoolArray:
    """Tell where the interval of one run is narrower than that of the true value.

    Args:
        mean_interval: Shape (n, 2), response unit.
        run_interval: Shape (n, 2).

    Returns:
        Shape (n,); false where an interval has an end that is not known.

    Example:
        >>> is_narrower(np.array([[0.0, 9.0]]), np.array([[2.0, 7.0]]))
        array([ True])
    """
    width = np.ptp(mean_interval, axis=1)
    with np.errstate(invalid="ignore"):
        narrower: BoolArray = np.ptp(run_interval, axis=1) < width * (1.0 - _ROUNDING)
    return narrower


def narrow_run_findings(
    intervals: Mapping[str, tuple[FloatArray, FloatArray]], where: str
) -> tuple[Finding, ...]:
    """Say of which responses a run is given more narrowly than the mean, and what to do.

    Args:
        intervals: By response: of the true value and of one new run, each (n, 2).
        where: What the n rows are, many of them, such as `settings`.
    """
    rows = {name: int(is_narrower(*pair).sum()) for name, pair in intervals.items()}
    told = {name: n for name, n in rows.items() if n}
    if not told:
        return ()
    names = ", ".join(f"'{name}'" for name in told)
    return (
        Finding(
            level="caution",
            what=f"The interval of one new run of {names} is narrower than that of its true value, "
            "which no run can be: too few batches stand behind the true value. Its error rests on "
            "one degree of freedom or little more and is stretched for that; the scatter of a run "
            "is added up from all that the runs show and is stretched less.",
            evidence={f"{where}, {name}": n for name, n in told.items()},
            advice="Take the wider interval, that of the true value, for both, and make more "
            "batches before you rely on either.",
            source="True value: Kenward and Roger (1997), Biometrics 53, 983-997; one run: "
            "Satterthwaite (1946), Biometrics Bulletin 2, 110-114",
        ),
    )
