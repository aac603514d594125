"""Published data sets as studies: the brief of each, and where each printed number is found.

The data and the printed answers lie in tests/reference/, each with its SOURCE.md.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

REFERENCE = Path(__file__).parents[1] / "reference"
FIELDS = {"coef": "estimate", "se": "std_error", "t": "t", "p": "p"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One published data set, fitted through the command line.

    Attributes:
        folder: Its folder in tests/reference/.
        response: The response it is checked on.
        factors: Low and high of each factor, coded as the source codes it.
        additives: Names of the shares, each from 0 to 1.
        columns: Columns of the table to rename, published name to ours.
        options: Options of `fit`.
        scale: Scale of the response.
        prefix: What the ids of this fit begin with.
        letters: The source's names of settings in the ids, where they differ from ours.
        other: Where ids that follow no pattern are found: path in the response's JSON.
        digits: Agreeing digits asked for where the source certifies 15; 0 asks for all printed.
        leave: Ids that mean something else here (another coding of blocks), by pattern.
    """

    folder: str
    response: str
    factors: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    additives: tuple[str, ...] = ()
    columns: Mapping[str, str] = field(default_factory=dict)
    options: tuple[str, ...] = ()
    scale: str = "identity"
    prefix: str = ""
    letters: Mapping[str, str] = field(default_factory=dict)
    other: Mapping[str, str] = field(default_factory=dict)
    digits: int = 0
    leave: str = ""

    @property
    def name(self) -> str:
        """Readable name of the case."""
        return f"{self.folder} {self.response} {' '.join(self.options)}".strip()

    def brief(self) -> str:
        """Write the brief of the case."""
        parts = ["format = 1", "[study]", f'title = "{self.folder}"']
        if self.additives:
            parts.append("[package]")
        for name in self.additives:
            parts += ["[[package.additive]]", f'name = "{name}"', "low = 0.0", "high = 1.0"]
        for name, (low, high) in self.factors.items():
            parts += ["[[factor]]", f'name = "{name}"', f"low = {low!r}", f"high = {high!r}"]
        parts += ["[[response]]", f'name = "{self.response}"', 'per = "batch"']
        parts.append(f'scale = "{self.scale}"')
        return "\n".join(parts) + "\n"

    def table(self) -> str:
        """Give the data with our column names."""
        head, _, body = (REFERENCE / self.folder / "data.csv").read_text("utf-8").partition("\n")
        names = [self.columns.get(name, name) for name in head.strip().split(",")]
        return ",".join(names) + "\n" + body

    def printed(self) -> Iterator[tuple[str, float, float, str]]:
        """List what is printed: id, value, tolerance and path in the response's JSON."""
        every = json.loads((REFERENCE / self.folder / "expected.json").read_text("utf-8"))
        for entry in every["values"]:
            path = self._path(entry["id"])
            if entry["kind"] != "published" or not entry["agrees"] or path is None:
                continue
            # The printed digits decide, except where the source itself rounded on the way.
            strict = entry["agrees_at_rounding"]
            tolerance = entry["tolerance_from_rounding" if strict else "tolerance"]
            if self.digits:
                tolerance = abs(entry["value"]) * 10.0**-self.digits
            yield entry["id"], entry["value"], tolerance, path

    def _path(self, entry: str) -> str | None:
        if not entry.startswith(self.prefix) or (self.leave and re.search(self.leave, entry)):
            return None
        short = entry.removeprefix(self.prefix)
        if short in self.other:
            return self.other[short]
        known = {"R2": "r2", "R2adj": "r2_adjusted", "s": "residual_sd", "rsd": "residual_sd"}
        if short in known:
            return known[short]
        kind, _, term = short.partition(".")
        if kind in FIELDS and term:
            return f"{FIELDS[kind]} of {self._term(term)}"
        is_term = re.fullmatch(r"b\d+|(1\*)?([xz]\d(\^2)?\*?)+", short)
        return f"estimate of {self._term(short)}" if is_term else None

    def _term(self, text: str) -> str:
        """Turn x1x2, x1^2, z1*x1, b12, PR or b0 into a term of ours."""
        if text == "b0":
            return "intercept"
        if match := re.fullmatch(r"b(\d)(\d?)", text):
            text = "".join(f"x{digit}" for digit in match.groups() if digit)
        text = re.sub(r"(\w+)\^2$", r"\1\1", text)
        names = [*self.letters, *self.factors, *self.additives]
        found = re.findall("|".join(sorted(map(re.escape, names), key=len, reverse=True)), text)
        found = [self.letters.get(name, name) for name in found]
        found.sort(key=[*self.additives, *self.factors].index)
        return f"{found[0]}²" if len(found) == 2 and found[0] == found[1] else " × ".join(found)


def look_up(response: Mapping[str, Any], path: str) -> float:
    """Find a number in the JSON of a fitted response."""
    kind, _, term = path.partition(" of ")
    if kind in FIELDS.values():
        rows = {row["term"]: row for row in response["coefficients"]}
        return float(rows[term][kind])
    if path.startswith("anova "):
        source, wanted = path.removeprefix("anova ").rsplit(" ", 1)
        table = "anova_by_order" if source.startswith("all ") else "anova"
        source = source.removeprefix("all ")
        rows = {row["source"]: row for row in response[table] if row["kind"] == "sequential"}
        return float(rows[source][wanted])
    if path.startswith("lack of fit "):
        return float(response["lack_of_fit"][0][path.removeprefix("lack of fit ")])
    if path.startswith("box-cox "):
        power = response["checks"]["box_cox"]
        return float(
            {"λ": power["power"], "low": power["interval"][0], "high": power["interval"][1]}[
                path[8:]
            ]
        )
    return float(response[path])


def _two(*names: str) -> dict[str, tuple[float, float]]:
    return dict.fromkeys(names, (-1.0, 1.0))


_LACK = {
    "anova.lofF": "lack of fit f", "anova.lofp": "lack of fit p",
    "anova.lofSS": "anova lack of fit ss",
    "anova.lofMS": "anova lack of fit ms", "anova.peSS": "anova pure error ss",
    "anova.errSS": "anova residual ss", "anova.errMS": "anova residual ms",
}  # fmt: skip
_BY_ORDER = {
    f"anova.{theirs}.{number}": f"anova {ours} {field}"
    for theirs, ours in {
        "FO": "all linear", "TWI": "all interactions", "PQ": "all squares", "res": "residual",
        "lof": "lack of fit", "pe": "pure error", "Block": "blocks", "block": "blocks",
    }.items()
    for number, field in {"SS": "ss", "MS": "ms", "F": "f", "p": "p", "df": "df"}.items()
}  # fmt: skip
_CERTIFIED = {
    **{f"B{i}.estimate": f"estimate of {'intercept' if i == 0 else f'x{i}'}" for i in range(7)},
    **{f"B{i}.sd": f"std_error of {'intercept' if i == 0 else f'x{i}'}" for i in range(7)},
    "r2": "r2", "sse": "anova residual ss", "mse": "anova residual ms",
}  # fmt: skip
_CHEMREACT = {"columns": {"yield_": "yield"}, "response": "yield"}

CASES = (
    Case(
        folder="nist-yarn-simplex-lattice",
        response="elongation",
        additives=("x1", "x2", "x3"),
        leave=r"^p\.",
        other={
            "rmse": "residual_sd",
            "anova.error.SS": "anova residual ss",
            "anova.error.MS": "anova residual ms",
            "anova.error.df": "anova residual df",
        },
    ),
    *(
        Case(
            folder="nist-tire-tread-desirability",
            response=y,
            factors=_two("x1", "x2", "x3"),
            prefix=f"{y}.",
            options=() if y != "Y3" else ("--model", "linear"),
        )
        for y in ("Y1", "Y2", "Y3", "Y4")
    ),
    Case(
        folder="rsm-chemreact",
        factors=_two("x1", "x2"),
        prefix="so.",
        **_CHEMREACT,
        leave=r"b0|Block2",
        other={**_BY_ORDER},
    ),
    Case(
        folder="rsm-heli",
        response="ave",
        factors=_two("x1", "x2", "x3", "x4"),
        leave=r"b0|block2",
        other={**_BY_ORDER},
    ),
    Case(
        folder="nist-cvd-rsm",
        response="uniformity",
        factors=_two("x1", "x2"),
        prefix="unif.full.",
        letters={"P": "x1", "R": "x2"},
    ),
    Case(
        folder="nist-cvd-rsm",
        response="uniformity",
        factors=_two("x1", "x2"),
        prefix="unif.red.",
        letters={"P": "x1", "R": "x2"},
        options=("--model", "interactions"),
        other=_LACK,
    ),
    Case(
        folder="nist-catapult-fractional-factorial",
        response="distance",
        factors=_two("h", "s", "b", "l", "e"),
        prefix="dist.full.",
        columns={"height": "band height", "order": "order"},
        options=("--model", "interactions"),
    ),
    Case(
        folder="mm-etch-rate-special-cubic",
        response="erate",
        additives=("x1", "x2", "x3"),
        options=("--model", "special cubic"),
    ),
    Case(
        folder="strd-lls-longley",
        response="y",
        other=_CERTIFIED,
        options=("--model", "linear"),
        digits=12,
        factors=_two("x1", "x2", "x3", "x4", "x5", "x6"),
    ),
    Case(
        folder="strd-lls-norris",
        response="y",
        factors=_two("x1"),
        columns={"x": "x1"},
        digits=13,
        other=_CERTIFIED,
        options=("--model", "linear"),
    ),
    Case(
        folder="montgomery-ex11.1-steepest-ascent",
        response="y",
        factors=_two("x1", "x2"),
        options=("--model", "linear"),
        other={"pe.MS": "anova pure error ms", "res.SS": "anova residual ss"},
    ),
    *(
        Case(
            folder="montgomery-ex11.2-three-responses",
            response=y,
            prefix=f"{y}.",
            factors=_two("x1", "x2"),
            columns={"yield_": "yield"},
            options=("--model", "linear") if y == "mw" else (),
        )
        for y in ("yield", "viscosity", "mw")
    ),
    Case(
        folder="boxcox-1964-textile",
        response="y",
        factors=_two("x1", "x2", "x3"),
        options=("--model", "linear"),
        other={"lambda": "box-cox λ", "ci95.lo": "box-cox low", "ci95.hi": "box-cox high"},
    ),
    Case(
        folder="mm-chemical-process",
        response="conversion",
        prefix="conversion.",
        factors=_two("x1", "x2", "x3"),
    ),
    Case(
        folder="mm-chemical-process",
        response="activity",
        prefix="activity.",
        factors=_two("x1", "x2", "x3"),
    ),
    Case(
        folder="cornell-fish-patty-mixture-process",
        response="y",
        additives=("x1", "x2", "x3"),
        factors=_two("z1", "z2", "z3"),
        options=("--model", "crossed"),
    ),
)
