"""The test methods that a brief names: checked, and what they say filled in where it is silent."""

from __future__ import annotations

from collections.abc import Iterator

from doe.methods.goals import goal_flaws
from doe.methods.method import Method, Option
from doe.methods.registry import METHODS, find_method, is_computed
from doe.study.brief import Response, Study
from doe.study.brief_flaws import NAMES, Flaw
from doe.study.brief_lines import Path
from doe.study.names import fold, match_name, nearest_name, nearest_names

# The option by which a method names the response that it is computed from.
OF = "of"
# Where all methods are listed.
PAGE = "docs/methods.md"


def settle_methods(study: Study) -> tuple[Study, list[Flaw]]:
    """Settle `from` and `with` of every response.

    Returns:
        The brief, methods and options in the registry's spelling, unit, stage, scale and bounds
        filled in where it is silent; and what is wrong with them.
    """
    flaws: list[Flaw] = []
    settled = [
        _settle(study, response, ("response", i), flaws)
        for i, response in enumerate(study.responses)
    ]
    flaws.extend(_without_error(study, settled))
    for i, response in enumerate(settled):
        if response.name in _chain(response, settled):
            what = f"'{response.name}' is computed from itself"
            flaws.append(Flaw(path=("response", i, "with", OF), what=what,
                              do="Name a response that is read at the bench."))  # fmt: skip
    return study.model_copy(update={"responses": tuple(settled)}), flaws


def _settle(study: Study, response: Response, path: Path, flaws: list[Flaw]) -> Response:
    if response.method is None:
        if response.options:
            what = f"'{response.name}' has options, but no method that they are of"
            flaws.append(
                Flaw(path=(*path, "with"), what=what, do="Add from = \"…\", or delete 'with'.")
            )
        return response
    method = find_method(response.method)
    if method is None:
        flaws.append(_unknown_method(response, (*path, "from")))
        return response
    said = {option.name: value for option, value in _options(response, method, path, flaws)}
    if OF in said:
        names = [one.name for one in study.responses if one.name != response.name]
        found = match_name(str(said[OF]), names)
        if found is None:
            flaws.append(_no_such_response(response, said[OF], names, (*path, "with", OF)))
        else:
            said[OF] = found
    flaws.extend(_missing(response, method, said, path))
    flaws.extend(_none_of(response, method, said, path))
    flaws.extend(goal_flaws(response, method, path))
    flaws.extend(_other_unit(response, method, path))
    return response.model_copy(
        update={"method": method.name, "options": said} | _silent(response, method)
    )


def _silent(response: Response, method: Method) -> dict[str, object]:
    """Give what the method says where the brief says nothing."""
    given = response.model_fields_set
    filled: dict[str, object] = {}
    if not response.unit:
        filled["unit"] = method.unit
    if "per" not in given:
        filled["per"] = method.per
    if "scale" not in given:
        filled["scale"] = method.scale
    if response.bounds is None and filled.get("scale", response.scale) == "logit":
        filled["bounds"] = method.bounds
    return filled


def _options(
    response: Response, method: Method, path: Path, flaws: list[Flaw]
) -> Iterator[tuple[Option, float | str]]:
    known = {fold(option.name): option for option in method.options}
    for name, value in response.options.items():
        here: Path = (*path, "with", name)
        option = known.get(fold(name).replace(" ", "_")) or known.get(fold(name))
        if option is None:
            meant = nearest_name(name, [one.name for one in method.options])
            flaws.append(
                Flaw(
                    path=here,
                    what=f"the method '{method.name}' has no option '{name}'",
                    allowed=", ".join(one.name for one in method.options) or "no options",
                    do=f'Probably "{meant}" is meant.' if meant else "Delete it.",
                )
            )
        elif (fault := _wrong_value(option, value)) is not None:
            flaws.append(
                Flaw(path=here, what=f"'{name}' of '{response.name}' is {value!r}", allowed=fault)
            )
        else:
            yield option, _in_its_words(option, value)


def _wrong_value(option: Option, value: float | str) -> str | None:
    """Say what would be accepted where a value does not fit; None where it does."""
    if option.words:
        return None if match_name(_as_word(value), option.words) else ", ".join(option.words)
    if option.name == OF or isinstance(option.default, str):
        return None if isinstance(value, str) else "a word"
    if isinstance(value, str):
        return f"a number{f' in {option.unit}' if option.unit else ''}"
    low, high = option.low, option.high
    if (low is not None and value < low) or (high is not None and value > high):
        if low is None or high is None:
            return f"at most {high:g}" if low is None else f"at least {low:g}"
        return f"{low:g} to {high:g}"
    return None


def _in_its_words(option: Option, value: float | str) -> float | str:
    return (match_name(_as_word(value), option.words) or value) if option.words else value


def _as_word(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:g}"


def _missing(
    response: Response, method: Method, said: dict[str, float | str], path: Path
) -> Iterator[Flaw]:
    for option in method.options:
        if option.is_needed and option.name not in said and option.name not in response.options:
            unit = f" {option.unit}" if option.unit else ""
            yield Flaw(
                path=(*path, "from"),
                what=f"the method '{method.name}' of '{response.name}' needs '{option.name}'",
                do=f"Add with = {{ {option.name} = … }}: {option.meaning or option.name}{unit}.",
                rests_on=((*path, "from"), (*path, "with")),
            )


def _none_of(
    response: Response, method: Method, said: dict[str, float | str], path: Path
) -> Iterator[Flaw]:
    """Refuse a choice between options that the brief leaves open."""
    known = {*said, *response.options}
    if not method.needs_one_of or any(known.issuperset(one) for one in method.needs_one_of):
        return
    keys = [" and ".join(one) for one in method.needs_one_of]
    written = [", ".join(f"{name} = …" for name in one) for one in method.needs_one_of]
    yield Flaw(
        path=(*path, "from"),
        what=f"the method '{method.name}' of '{response.name}' needs {', or '.join(keys)}",
        do="Add " + ", or ".join(f"with = {{ {one} }}" for one in written) + ".",
        rests_on=((*path, "from"), (*path, "with")),
    )


def _other_unit(response: Response, method: Method, path: Path) -> Iterator[Flaw]:
    """Refuse a unit that the method does not give; nothing is converted behind one's back."""
    said, given = fold(response.unit), fold(method.unit)
    # Per cent of what is a matter of words, which the method's own say.
    alike = said == given or (said.startswith("%") and given.startswith("%"))
    if response.unit and method.unit and not alike:
        yield Flaw(
            path=(*path, "unit"),
            what=f"'{response.name}' is to be in {response.unit}, and '{method.name}' gives "
            f"{method.unit}",
            allowed=method.unit,
            do="Delete the unit, or give best, worst and accept in that of the method.",
        )


def _without_error(study: Study, settled: list[Response]) -> Iterator[Flaw]:
    """Refuse `sd` and `effect` of what is computed: it has no error for an effect to pass."""
    computed = {fold(one.name) for one in settled if is_computed(one)}
    for key in ("sd", "effect"):
        for name in getattr(study.wishes, key):
            if fold(name) in computed:
                yield Flaw(
                    path=("plan", key, name),
                    what=f"'{name}' is computed from the recipe: it takes no run to see",
                    do="Delete it here.",
                )


def _unknown_method(response: Response, path: Path) -> Flaw:
    meant = nearest_name(response.method or "", METHODS)
    return Flaw(
        path=path,
        what=f"'{response.method}' of '{response.name}' is no test method",
        allowed=f"the methods of {PAGE}, such as "
        + ", ".join(f'"{name}"' for name in nearest_names(response.method or "", METHODS)),
        do=f'Probably "{meant}" is meant.'
        if meant
        else f"Take one of {PAGE}, or delete 'from': readings are then entered as they are.",
    )


def _no_such_response(response: Response, said: float | str, names: list[str], path: Path) -> Flaw:
    return Flaw(
        path=path,
        what=f"'{response.name}' is computed from '{said}', which is no response",
        allowed=", ".join(names),
        rests_on=(path, NAMES),
    )


def _chain(response: Response, responses: list[Response]) -> list[str]:
    """Follow what a response is computed from, response by response."""
    by_name = {one.name: one for one in responses}
    chain: list[str] = []
    of = response.options.get(OF)
    while isinstance(of, str) and of in by_name and of not in chain:
        chain.append(of)
        of = by_name[of].options.get(OF)
    return chain
