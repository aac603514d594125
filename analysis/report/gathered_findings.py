"""Findings of a whole study, each said once and the most urgent first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from analysis.figures.looks import sentence_case
from analysis.report.content import ReportContent
from doe.study.finding import Finding
from doe.study.sentence import listed

MOST_THAT_MATTER = 3
URGENCY = {"stop": 0, "caution": 1, "note": 2}
# Words that lose their capital after a colon; names keep theirs.
COMMON_WORDS = frozenset(
    "A All An At Differences Each Every From In It Most No None Of On One Only Run Runs Some The "
    "There These This Two What Where Without".split()
)


def what_matters(content: ReportContent) -> tuple[str, ...]:
    """Give the two or three sentences that the decision turns on.

    Limits that are not met come first, then what stops, then cautions: those on the compromise
    and those shared by several responses before those on one, and one of each response before
    a second.
    """
    lines = list(content.compromise.unmet) if content.compromise else []
    ranked = _ranked(content)
    pressing = [finding.what for finding in ranked if finding.level != "note"]
    lines += pressing or [finding.what for finding in ranked]
    return tuple(dict.fromkeys(lines))[:MOST_THAT_MATTER]


def pressing_findings(content: ReportContent) -> tuple[Finding, ...]:
    """Give what the formulator must heed; notes on single responses are left to the appendix."""
    own = {finding.what for finding in _of_the_study(content)}
    return tuple(
        finding for finding in _ranked(content) if finding.level != "note" or finding.what in own
    )


def _ranked(content: ReportContent) -> tuple[Finding, ...]:
    """Order all findings, each once: by urgency, own before shared before single."""
    own = {(one.level, one.what): one for one in _of_the_study(content)}
    shared, single = _of_the_responses(content)
    every = [*own.values(), *shared, *single]
    return tuple(sorted(every, key=lambda finding: URGENCY[finding.level]))


def _of_the_study(content: ReportContent) -> tuple[Finding, ...]:
    found = [*content.findings]
    if content.compromise is not None:
        found += content.compromise.findings
    if content.with_full is not None:
        found.append(content.with_full.finding)
    if content.influence is not None:
        found += content.influence.findings
    if content.batch_recipe is not None:
        found += content.batch_recipe.findings
    return tuple(found)


def _of_the_responses(content: ReportContent) -> tuple[list[Finding], list[Finding]]:
    """Gather equal findings of several responses into one; take single ones in turn."""
    by_what: dict[tuple[str, str], dict[str, Finding]] = {}
    for name, fitted in content.fitted.items():
        for finding in fitted.findings:
            by_what.setdefault((finding.level, finding.what), {})[name] = finding
    shared = [_joined(found) for found in by_what.values() if len(found) > 1]
    lonely = [found for found in by_what.values() if len(found) == 1]
    in_turn = [[_joined(found) for found in lonely if name in found] for name in content.fitted]
    return shared, list(_alternating(in_turn))


def _alternating(lists: list[list[Finding]]) -> Iterable[Finding]:
    for i in range(max((len(one) for one in lists), default=0)):
        yield from (one[i] for one in lists if i < len(one))


def _joined(found: Mapping[str, Finding]) -> Finding:
    """Make one finding of those that several responses share, and name them in it."""
    names = list(found)
    first = found[names[0]]
    evidence: dict[str, float | int | str] = {}
    for name, finding in found.items():
        for key, value in finding.evidence.items():
            evidence[f"{key} ({name})" if len(names) > 1 else key] = value
    return Finding(
        level=first.level,
        what=_naming(names, first.what),
        evidence=evidence,
        advice=first.advice,
        source=first.source,
    )


def _naming(names: list[str], sentence: str) -> str:
    """Put the responses before a sentence, unless it names the only one itself."""
    if len(names) == 1 and names[0].casefold() in sentence.casefold():
        return sentence
    word = sentence.split(" ", 1)[0]
    inner = sentence[:1].lower() + sentence[1:] if word in COMMON_WORDS else sentence
    return f"{sentence_case(listed(names))}: {inner}"
