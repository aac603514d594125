"""Studies that no textbook shows and every bench knows, each beside a response that is sound."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from doe.steps.adopt import adopt_table

_HEAD = 'format = 1\n[study]\ntitle = "invented"\nseed = 1\n'
_GLOSS = '[[response]]\nname = "gloss"\naim = "high"\nworst = 40\nbest = 70\n'
_LIMIT = 'aim = "low"\nbest = 500\nworst = 5000\naccept = { at_most = 3000 }\n'
_VISCOSITY = f'[[response]]\nname = "viscosity"\nunit = "mPa·s"\n{_LIMIT}'
# Faces, corners and centre of two factors, the centre three times.
CUBE = (
    (0, 1), (10, 1), (0, 3), (10, 3), (0, 2), (10, 2), (5, 1), (5, 3), (5, 2), (5, 2), (5, 2),
)  # fmt: skip
# Scatter, drawn once from a normal curve and kept.
_SCATTER = (
    0.3, -0.8, 0.5, 1.1, -0.2, -0.6, 0.9, 0.1, -1.2, 0.4, 0.7, -0.3, -0.9, 0.2, 1.0, -0.4, 0.6,
    -1.1, 0.8, -0.1, 0.0, -0.7, 1.2, -0.5,
)  # fmt: skip
_MIXED = {"ammonia": 0, "AMP": 2, "soda": -3, "bead": 0, "roll": -1}

Row = dict[str, Any]
Viscosity = Callable[[float, float, int], Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hard:
    """A study and what is to be said of it.

    Attributes:
        brief: Its factors, as the brief has them.
        rows: Its table.
        fit: Key words of what `fit` says, screen or contract.
        at: Settings to predict at.
        model: Terms of the sound response's model; empty where it does not matter.
        sound: Responses that are fitted, predicted and chosen.
        off: Settings at which nothing may be predicted; empty where there are none.
        why_off: Key words of what is said there.
        chosen: Settings that the compromise must keep to.
        choose: Key words of what `choose` says.
        searched: Whether the compromise is searched, which takes a second; not where another study
            goes the same way.
    """

    brief: str
    rows: list[Row]
    fit: tuple[str, ...]
    at: tuple[str, ...] = ("dose=4", "beads=2")
    model: tuple[str, ...] = ()
    sound: tuple[str, ...] = ("gloss", "viscosity")
    off: tuple[str, ...] = ()
    why_off: str = ""
    chosen: Mapping[str, Any] = field(default_factory=dict)
    choose: tuple[str, ...] = ()
    searched: bool = True


def make(folder: Path, study: Hard) -> Path:
    """Adopt the table of a study."""
    folder.mkdir(parents=True)
    (folder / "study.toml").write_text(_HEAD + study.brief + _GLOSS + _VISCOSITY, encoding="utf-8")
    heads = list(study.rows[0])
    lines = [",".join(heads), *(",".join(str(row[h]) for h in heads) for row in study.rows)]
    (folder / "table.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(folder / "table.csv", folder)
    return folder


def _range(name: str, low: float, high: float, unit: str, more: str = "") -> str:
    return f'[[factor]]\nname = "{name}"\nunit = "{unit}"\nlow = {low}\nhigh = {high}\n{more}'


def _choice(name: str, *levels: str) -> str:
    listed = ", ".join(f'"{level}"' for level in levels)
    return f'[[factor]]\nname = "{name}"\nlevels = [{listed}]\n'


def _gloss(dose: float, beads: float, i: int) -> float:
    curve = 55 + 0.8 * (dose - 5) - 2 * (beads - 2) - 0.1 * (dose - 5) ** 2
    return round(curve + 0.4 * _SCATTER[i], 2)


def _viscosity(dose: float, beads: float, i: int) -> float:
    return round(1500 - 80 * (dose - 5) + 200 * (beads - 2) + 30 * _SCATTER[-i], 0)


def _points(points: Any, viscosity: Viscosity = _viscosity) -> list[Row]:
    return [
        {"run": i + 1, "batch": i + 1, "dose": dose, "beads": beads}
        | {"gloss": _gloss(dose, beads, i), "viscosity": viscosity(dose, beads, i)}
        for i, (dose, beads) in enumerate(points)
    ]


def _cells(*cells: tuple[str, str]) -> list[Row]:
    rows: list[Row] = []
    for base, mill in cells:
        for dose in (0, 2, 5, 8, 10):
            i, effect = len(rows), _MIXED[base] + _MIXED[mill]
            rows.append(
                {"run": i + 1, "batch": i + 1, "neutraliser": base, "mill": mill, "dose": dose}
                | {"gloss": round(_gloss(dose, 2, i) + effect, 2)}
                | {"viscosity": _viscosity(dose, 2, i) + 10 * effect}
            )
    return rows


def _one_batch() -> list[Row]:
    times = (15, 15, 20, 25, 30, 30, 35, 40, 45, 45)
    return [
        {"run": i + 1, "batch": 1, "dose": 5, "time": time}
        | {"gloss": round(_gloss(5, 2, i) + 0.2 * (time - 30), 2)}
        | {"viscosity": _viscosity(5, 2, i)}
        for i, time in enumerate(times)
    ]


_DOSE, _BEADS = _range("dose", 0, 10, "%"), _range("beads", 1, 3, "mm")
_TIME = _range("time", 15, 45, "min", 'set_per = "sample"\n')
_TWO = _DOSE + _BEADS
_MILLS = _choice("mill", "bead", "roll")
_DOSES = (0, 0, 2, 3, 4, 5, 5, 6, 8, 10, 10)
_AT_TWO_SIZES = [(d, b) for d, b in CUBE if b != 2] + [(5, 1), (5, 3), (5, 1), (5, 3)]

HARD = {
    "two factors that moved together": Hard(
        brief=_TWO,
        rows=_points([(dose, 1 + dose / 5) for dose in _DOSES]),
        fit=("'beads' moved together with 'dose'", "beads = 1 + 0.2 × dose", "extend --for model"),
        at=("dose=4", "beads=1.8"),
        model=("intercept", "dose", "dose²"),
        off=("dose=4", "beads=3"),
        why_off="every run keeps to beads = 1 + 0.2 × dose",
    ),
    "a factor at two values": Hard(
        brief=_TWO,
        rows=_points(_AT_TWO_SIZES),
        fit=("beads²", "run at 2 values only, 1 and 3 mm", "a bend takes 3"),
        model=("intercept", "dose", "beads", "dose × beads", "dose²"),
        searched=False,
    ),
    "as many terms as runs": Hard(
        brief=_TWO,
        rows=_points([(0, 1), (10, 1), (0, 3)]),
        fit=("as many coefficients as runs", "nothing is left to judge it by"),
        model=("intercept", "dose", "beads"),
        choose=("No interval can be given for 'gloss' and 'viscosity'",),
    ),
    "all readings equal": Hard(
        brief=_TWO,
        rows=_points(CUBE, lambda *_: 1200),
        fit=("does not vary", "nothing to model", "resolution of the instrument"),
        searched=False,
    ),
    "readings of a formula": Hard(
        brief=_TWO,
        rows=_points(CUBE, lambda dose, beads, _: 1500 - 80.3 * dose + 17.7 * beads),
        fit=("passes through every run to the last digit", "looks computed"),
        searched=False,
    ),
    "one batch": Hard(
        brief=_DOSE + _TIME,
        rows=_one_batch(),
        fit=("'dose' was 5 % in every run", "All runs come from one batch"),
        at=("dose=5", "time=40"),
        model=("intercept", "time", "time²"),
        off=("dose=8", "time=40"),
        why_off="'dose' was 5 % in every run",
        chosen={"dose": 5},
    ),
    "all above the instrument": Hard(
        brief=_TWO,
        rows=_points(CUBE, lambda *_: "> 5000"),
        fit=(
            "above 5000 mPa·s in all 11 runs",
            "nothing to model",
            "the limit (at most 3000 mPa·s) is met can be said: it is not",
        ),
        sound=("gloss",),
        choose=("'viscosity' has no model", "can be said: it is not"),
    ),
    "a combination never run": Hard(
        brief=_choice("neutraliser", "ammonia", "soda") + _MILLS + _DOSE,
        rows=_cells(("ammonia", "bead"), ("ammonia", "roll"), ("soda", "bead")),
        fit=("neutraliser × mill", "no run has 'neutraliser' soda with 'mill' roll"),
        at=("neutraliser=soda", "mill=bead", "dose=3"),
        off=("neutraliser=soda", "mill=roll", "dose=3"),
        why_off="no run has 'neutraliser' soda with 'mill' roll",
        choose=("No recipe was looked for", "'neutraliser' soda with 'mill' roll"),
    ),
    "a level never run": Hard(
        brief=_choice("neutraliser", "ammonia", "AMP", "soda") + _DOSE,
        rows=_cells(("ammonia", "bead"), ("AMP", "bead")),
        fit=("No run with a reading has 'neutraliser' at soda", "take the level out of the brief"),
        at=("neutraliser=AMP", "dose=3"),
        off=("neutraliser=soda", "dose=3"),
        why_off="no run with a reading has 'neutraliser' at soda",
        searched=False,
    ),
}
