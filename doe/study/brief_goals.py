"""Checks on the goals of a brief: responses, views and what the plan should be able to see."""

from __future__ import annotations

from collections.abc import Iterator

from doe.study.brief import Response, Study
from doe.study.brief_flaws import NAMES, Flaw
from doe.study.brief_lines import Path

_ENDS = ("best", "worst", "worst_low", "worst_high")


def check_goals(study: Study) -> Iterator[Flaw]:
    """Find goals that are missing or contradict themselves."""
    if not study.about.title.strip():
        yield Flaw(
            path=("study", "title"),
            what="the title is empty",
            do="Say in one line what the study is about.",
        )
    if not study.responses:
        yield Flaw(
            what="the brief has no response",
            do="Add a [[response]] for each thing to be measured.",
        )
    for i, response in enumerate(study.responses):
        path: Path = ("response", i)
        yield from _check_aim(response, path)
        yield from _check_accept(response, path)
        yield from _check_scale(response, path)
    yield from _check_views(study)
    for key in ("sd", "effect"):
        for name, said in getattr(study.wishes, key).items():
            if said <= 0:
                yield Flaw(path=("plan", key, name), what=f'{key} of "{name}" is {said:g}',
                           allowed="above 0")  # fmt: skip


# --- aims --------------------------------------------------------------------------------------


def _check_aim(response: Response, path: Path) -> Iterator[Flaw]:
    given = [key for key in _ENDS if getattr(response, key) is not None]
    rests_on = ((*path, "aim"), *((*path, key) for key in _ENDS))
    if response.aim is None:
        idle = given + [key for key in ("shape", "importance") if key in response.model_fields_set]
        if idle:
            yield Flaw(
                path=(*path, idle[0]),
                what=f'"{response.name}" has {" and ".join(idle)} but no aim',
                do='Add aim = "low", "high" or "target", or delete them.',
                rests_on=rests_on,
            )
        return
    due = ("best", "worst_low", "worst_high") if response.aim == "target" else ("best", "worst")
    missing = [key for key in due if key not in given]
    surplus = [key for key in given if key not in due]
    if missing:
        yield Flaw(
            path=(*path, "aim"),
            what=f'"{response.name}" has aim = "{response.aim}" but no {" and no ".join(missing)}',
            do=f"Add {', '.join(f'{key} = {_MEANING[key]}' for key in missing)}.",
            rests_on=rests_on,
        )
    if surplus:
        yield Flaw(
            path=(*path, surplus[0]),
            what=f'"{response.name}" has {" and ".join(surplus)}, which aim = "{response.aim}" '
            "does not know",
            allowed=", ".join(due),
            do=f"Delete {' and '.join(surplus)}, or change the aim.",
            rests_on=((*path, "aim"), (*path, surplus[0])),
        )
    if not missing:
        yield from _check_order(response, path, rests_on)


_MEANING = {
    "best": "… (desirability 1 from here on)",
    "worst": "… (desirability 0 from here on)",
    "worst_low": "… (desirability 0 below)",
    "worst_high": "… (desirability 0 above)",
}


def _check_order(response: Response, path: Path, rests_on: tuple[Path, ...]) -> Iterator[Flaw]:
    best, worst, unit = response.best, response.worst, response.unit
    low, high = response.worst_low, response.worst_high
    if best is None:
        return
    if response.aim == "target" and low is not None and high is not None:
        if not low < best < high:
            yield Flaw(
                path=(*path, "best"),
                what=f'the target of "{response.name}" is {best:g} {unit}'.rstrip()
                + f", between worst_low {low:g} and worst_high {high:g} it is not",
                allowed="worst_low below best below worst_high",
                rests_on=rests_on,
            )
    elif worst is not None and not (best < worst if response.aim == "low" else best > worst):
        relation = "below" if response.aim == "low" else "above"
        yield Flaw(
            path=(*path, "best"),
            what=f'"{response.name}" has aim = "{response.aim}" with best {best:g} and worst '
            f"{worst:g} {unit}".rstrip(),
            allowed=f"best {relation} worst",
            do="Swap the two, or change the aim." if best != worst else "Move them apart.",
            rests_on=rests_on,
        )


# --- limits and scales -------------------------------------------------------------------------


def _check_accept(response: Response, path: Path) -> Iterator[Flaw]:
    accept = response.accept
    if accept is None:
        return
    ends = ((*path, "accept", "at_least"), (*path, "accept", "at_most"))
    if accept.at_least is None and accept.at_most is None:
        yield Flaw(
            path=(*path, "accept"),
            what=f'accept of "{response.name}" is empty',
            do="Write accept = { at_most = … } or { at_least = … }, or delete it.",
            rests_on=ends,
        )
    elif (
        accept.at_least is not None
        and accept.at_most is not None
        and accept.at_least > accept.at_most
    ):
        yield Flaw(
            path=ends[0],
            what=f'"{response.name}" is accepted from {accept.at_least:g} to {accept.at_most:g}',
            allowed="at_least not above at_most",
            do="Swap the two.",
            rests_on=ends,
        )


def _check_scale(response: Response, path: Path) -> Iterator[Flaw]:
    scale, name = response.scale, response.name
    if scale == "logit" and response.bounds is None:
        yield Flaw(
            path=(*path, "scale"),
            what=f'"{name}" has scale = "logit" but no bounds',
            do="Add bounds = [0, 100], the ends that it can never pass.",
            rests_on=((*path, "scale"), (*path, "bounds")),
        )
    if scale == "power" and response.power is None:
        yield Flaw(
            path=(*path, "scale"),
            what=f'"{name}" has scale = "power" but no power',
            do='Add power = 0.5 or whatever Box and Cox\'s λ is, or take scale = "auto".',
            rests_on=((*path, "scale"), (*path, "power")),
        )
    if response.power is not None and scale != "power":
        yield Flaw(
            path=(*path, "power"),
            what=f'"{name}" has a power but scale = "{scale}"',
            do='Write scale = "power", or delete power.',
            rests_on=((*path, "scale"), (*path, "power")),
        )
    if response.power == 0 and scale == "power":
        yield Flaw(path=(*path, "power"), what=f'the power of "{name}" is 0',
                   do='Write scale = "log", which is its limit.')  # fmt: skip
    yield from _check_positive(response, path)
    yield from _check_within_bounds(response, path)


def _goal_numbers(response: Response) -> Iterator[tuple[Path, float]]:
    for key in _ENDS:
        number = getattr(response, key)
        if number is not None:
            yield (key,), number
    for key in ("at_least", "at_most"):
        number = getattr(response.accept, key, None)
        if number is not None:
            yield ("accept", key), number


def _check_positive(response: Response, path: Path) -> Iterator[Flaw]:
    """Find goals at values that the scale cannot take."""
    if response.scale not in {"log", "square root", "power"}:
        return
    for key, number in _goal_numbers(response):
        # Zero may be the best of what should be low: wished for, never reached.
        zero_is_fine = response.scale != "log" or (key == ("best",) and response.aim == "low")
        if number < 0 or (number == 0 and not zero_is_fine):
            yield Flaw(
                path=(*path, *key),
                what=f'{key[-1]} of "{response.name}" is {number:g}, which scale = '
                f'"{response.scale}" cannot take',
                allowed="0 or more" if zero_is_fine else "above 0",
                do='Give the least value that is told apart, or take scale = "identity".',
                rests_on=((*path, *key), (*path, "scale"), (*path, "aim")),
            )


def _check_within_bounds(response: Response, path: Path) -> Iterator[Flaw]:
    if response.bounds is None:
        return
    low, high = response.bounds
    here: Path = (*path, "bounds")
    if not low < high:
        yield Flaw(
            path=here,
            what=f'"{response.name}" is bounded by {low:g} and {high:g}',
            allowed="low below high",
            do="Swap the two." if low > high else "Move them apart.",
        )
        return
    for key, number in _goal_numbers(response):
        if not low <= number <= high:
            yield Flaw(
                path=(*path, *key),
                what=f'{key[-1]} of "{response.name}" is {number:g}, outside its bounds',
                allowed=f"{low:g} to {high:g}",
                rests_on=(here, (*path, *key)),
            )


# --- views -------------------------------------------------------------------------------------


def _check_views(study: Study) -> Iterator[Flaw]:
    aims = {response.name: response.aim for response in study.responses}
    index = {response.name: i for i, response in enumerate(study.responses)}
    seen: dict[str, int] = {}
    for i, view in enumerate(study.views):
        path: Path = ("view", i)
        if seen.setdefault(view.role, i) != i:
            yield Flaw(
                path=(*path, "role"),
                what=f'"{view.role}" has two views, also view {seen[view.role] + 1}',
                do="Put their importances into one.",
                rests_on=((*path, "role"), ("view", seen[view.role], "role")),
            )
        if not view.importance:
            yield Flaw(path=(*path, "importance"), what="this view weighs nothing",
                       do="Name a response, or delete the view.",
                       rests_on=((*path, "importance"), NAMES))  # fmt: skip
        for name, weight in view.importance.items():
            here: Path = (*path, "importance", name)
            if weight <= 0:
                yield Flaw(path=here, what=f'the importance of "{name}" is {weight:g}',
                           allowed="above 0")  # fmt: skip
            if aims.get(name) is None:
                yield Flaw(
                    path=here,
                    what=f'"{name}" has no aim, so that there is nothing to weigh',
                    do="Give the response aim, best and worst, or delete it here.",
                    rests_on=(here, ("response", index.get(name, 0), "aim")),
                )
