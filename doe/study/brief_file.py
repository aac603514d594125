"""Reading a brief: from the bytes of `study.toml` to a `Study`, or to all its faults at once.

The way: bytes → text (`brief_text`) → values and lines (`brief_syntax`, `brief_lines`) → known
keys (`brief_keys`) → values of the right kind (`brief_shape`) → names and references in one
spelling (`brief_names`, `brief_references`) → checks of what belongs together. Each step notes
the flaws it meets, puts what was probably meant in their place, and lets the next step go on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from doe.errors import StudyError
from doe.study.brief import Study
from doe.study.brief_bench import check_bench
from doe.study.brief_bounds import check_bounds
from doe.study.brief_dose import with_stand_in
from doe.study.brief_factors import check_factor
from doe.study.brief_flaws import NAMES, Flaw, to_faults, without_echoes
from doe.study.brief_goals import check_goals
from doe.study.brief_keys import KnownKeys, settle_keys
from doe.study.brief_lines import Path
from doe.study.brief_materials import check_material_data
from doe.study.brief_names import check_names, tidy_names
from doe.study.brief_package import check_package
from doe.study.brief_references import settle_references
from doe.study.brief_shape import shape_brief
from doe.study.brief_syntax import read_toml
from doe.study.brief_text import read_text

FORMAT = 1

# What knows the test methods fills in what they say of a response, and finds what they do not know.
SettleMethods = Callable[[Study], tuple[Study, list[Flaw]]]


def parse_brief(
    data: bytes,
    where: str = "study.toml",
    *,
    settle: SettleMethods | None = None,
    with_open_dose: bool = False,
) -> Study:
    """Read the bytes of a brief.

    Args:
        data: The whole file.
        where: What the messages call it.
        settle: Settles the test methods that responses name; without it they are left as they are.
        with_open_dose: Whether the dose may lack its range; then one stands in for it.

    Returns:
        The brief, references in the spelling of the names they mean.

    Raises:
        StudyError: The brief has faults; the error holds all of them in the order of the file.
    """
    text, flaws = read_text(data)
    if not text.strip():
        empty = Flaw(what="the file is empty", do="`millbase new` writes a brief to start from.")
        raise StudyError.from_faults(to_faults(flaws or [empty], where=where, data={}, lines={}))
    toml = read_toml(text)
    strange = _strange_format(toml.data)
    if strange:
        faults = to_faults([*flaws, strange], where=where, data=toml.data, lines=toml.lines)
        raise StudyError.from_faults(faults)
    keys = settle_keys(toml.data)
    draft = shape_brief(with_stand_in(keys.data) if with_open_dose else keys.data)
    unread = toml.doubtful | keys.doubtful
    study, found = _settle(draft.study, unread | draft.doubtful, settle)
    flaws += [*toml.flaws, *keys.flaws, *without_echoes(draft.flaws, unread), *found]
    if flaws:
        lines = {**toml.lines, **{new: toml.lines[old] for old, new in _moved(toml.lines, keys)}}
        raise StudyError.from_faults(to_faults(flaws, where=where, data=keys.data, lines=lines))
    return study


def _strange_format(data: Mapping[str, Any]) -> Flaw | None:
    said = data.get("format", FORMAT)
    if said == FORMAT and isinstance(said, int) and not isinstance(said, bool):
        return None
    if isinstance(said, int) and said > FORMAT:
        return Flaw(
            path=("format",),
            what=f"the brief has format = {said}, and this millbase reads up to {FORMAT}",
            do="It needs a newer millbase; install that, or write format = 1 if it is a slip.",
        )
    return Flaw(
        path=("format",), what=f"format is {said!r}", allowed="1", do="Write format = 1, no quotes."
    )


def _moved(lines: Mapping[Path, int], keys: KnownKeys) -> Iterator[tuple[Path, Path]]:
    """Pair each path as written with the path under its right name."""
    for path in lines:
        new = path
        for length in range(1, len(path) + 1):
            right = keys.renamed.get(new[:length])
            if right:
                new = right + new[length:]
        if new != path:
            yield path, new


def _settle(
    study: Study, doubtful: frozenset[Path], settle: SettleMethods | None
) -> tuple[Study, list[Flaw]]:
    """Settle names and references, and check what belongs together."""
    if any(_may_hide_name(path) for path in doubtful):
        doubtful |= {NAMES}
    study = tidy_names(study)
    named = list(check_names(study))
    study, lost = settle_references(study)
    study, unsettled = settle(study) if settle else (study, [])
    doubtful_too = doubtful | {flaw.path for flaw in lost}
    return study, [
        *without_echoes([*named, *lost, *unsettled], doubtful),
        *without_echoes(_check(study), doubtful_too),
    ]


# Tables whose names other tables refer to.
_NAMING = frozenset({"package", "additive", "factor", "response", "control", "study", "block"})


def _may_hide_name(path: Path) -> bool:
    return not path or path[-1] in {"name", *_NAMING} or isinstance(path[-1], int)


def _check(study: Study) -> Iterator[Flaw]:
    for i, factor in enumerate(study.factors):
        yield from check_factor(study, factor, ("factor", i))
    yield from check_package(study)
    yield from check_bounds(study)
    yield from check_bench(study)
    yield from check_material_data(study)
    yield from check_goals(study)
