"""What a plan leaves to judge an error by, where that is too little."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from doe.appraisal.freedom import Freedom
from doe.model.strata import RESIDUAL, units_word
from doe.study.finding import Finding

# Fewer degrees of freedom leave the error itself badly known: t is 2.78 at 4, 3.18 at 3 (DESIGN.md,
# section 5, asks for a warning below four among batches).
LEAST_DF = 4
_LISTED = 6


def freedom_findings(
    freedom: Freedom, judged_by: Mapping[str, Sequence[str]] | None = None
) -> tuple[Finding, ...]:
    """Tell where too few degrees of freedom are left, and whether lack of fit can be tested.

    Args:
        freedom: Degrees of freedom of the error, controls counted.
        judged_by: Settings that are judged by the error of each stratum, where that is known.
    """
    few = [_few(name, df, (judged_by or {}).get(name, ())) for name, df in freedom.residual.items()]
    return (*(finding for finding in few if finding is not None), *_no_replicates(freedom))


def listed(names: Sequence[str], most: int = _LISTED) -> str:
    """List names, the rest of a long list counted.

    Example:
        >>> listed(["dose", "pH", "grind time"], 2)
        'dose, pH and 1 more'
    """
    shown = list(names[:most])
    left = len(names) - len(shown)
    if left:
        return f"{', '.join(shown)} and {left} more"
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"


def _few(stratum: str, df: int, own: Sequence[str]) -> Finding | None:
    if df >= LEAST_DF:
        return None
    is_residual = stratum == RESIDUAL
    where = "the error" if is_residual else f"the scatter between {units_word(stratum)}"
    about = f" {listed(own)} will be judged by it." if own and not is_residual else ""
    left = "No degree of freedom is" if df == 0 else f"{df} degree{'s' * (df > 1)} of freedom "
    left += "" if df == 0 else "is" if df == 1 else "are"
    more = "runs" if is_residual else units_word(stratum)
    return Finding(
        level="caution",
        what=f"{left} left for {where}: below {LEAST_DF} it is badly known itself.{about}",
        evidence={f"residual df, {stratum}": df},
        advice=f"Add {more}, or take a smaller model.",
    )


def _no_replicates(freedom: Freedom) -> tuple[Finding, ...]:
    if sum(freedom.pure_error.values()) > 0:
        return ()
    return (
        Finding(
            level="note",
            what="No settings are run twice: lack of fit can't be tested.",
            advice="Ask for centre runs or replicates.",
        ),
    )
