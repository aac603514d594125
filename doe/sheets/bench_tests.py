"""What the sheets ask of the test methods: which responses need lines, which are computed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from doe.methods.method import Method, RawTable
from doe.methods.raw_columns import BenchTest
from doe.methods.registry import find_method
from doe.methods.settling import OF
from doe.study.brief import Response, Study
from doe.study.names import fold


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One response that a test gives, and how."""

    response: Response
    method: Method

    def option(self, name: str) -> float | None:
        """Give the number that an option has: the brief's, else the default; None without one."""
        value = self._value(name)
        return None if isinstance(value, str) or value is None else float(value)

    def word(self, name: str) -> str | None:
        """Give the word that an option has: the brief's, else the default; None without one."""
        value = self._value(name)
        return value if isinstance(value, str) else None

    def _value(self, name: str) -> float | str | None:
        said = {fold(key): value for key, value in self.response.options.items()}
        defaults = {fold(one.name): one.default for one in self.method.options}
        return said.get(fold(name), defaults.get(fold(name)))


def asked_of(test: BenchTest) -> tuple[Asked, ...]:
    """Give the responses of a test with their methods, in the brief's order."""
    methods = [(one, _method(one)) for one in test.responses]
    return tuple(Asked(response=one, method=method) for one, method in methods if method)


def ages_of(test: BenchTest) -> tuple[float | None, ...]:
    """Give the ages of a test, days, ascending; one None where nobody says any."""
    return test.ages or (None,)


def is_of_a_film(test: BenchTest) -> bool:
    """Tell whether the age of a test counts from the day a film was drawn, or storage began."""
    film = any(one.method.film_age_d is not None for one in asked_of(test))
    return film or test.per == "panel"


def plain_responses(responses: Iterable[Response]) -> tuple[Response, ...]:
    """Pick the responses that are entered as they are: no method computes them."""
    return tuple(one for one in responses if _method(one) is None)


def with_sources(study: Study, wanted: Iterable[str]) -> tuple[Response, ...]:
    """Give the responses of some names and those that they are computed from, in brief order."""
    needed: set[str] = set()
    waiting = [fold(name) for name in wanted]
    while waiting:
        name = waiting.pop()
        if name not in needed:
            needed.add(name)
            waiting += [_source(one) for one in study.responses if fold(one.name) == name]
    return tuple(one for one in study.responses if fold(one.name) in needed)


def cautions_of(tables: Iterable[RawTable]) -> tuple[str, ...]:
    """Give what can hurt in some tests, each sentence once."""
    return tuple(dict.fromkeys(caution for table in tables for caution in table.cautions))


def _method(response: Response) -> Method | None:
    return find_method(response.method) if response.method else None


def _source(response: Response) -> str:
    """Name the response that another is computed from, folded; empty for all else."""
    return fold(str(response.options.get(OF, "")))
