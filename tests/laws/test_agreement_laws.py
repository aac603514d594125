"""Laws of the agreement: the record reads back, grows only, and a card weighs out what it says."""

from __future__ import annotations

from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.agreement.formula_card import CardSubject, make_card
from analysis.agreement.standing import missing_roles, objecting_roles, role_standings
from doe.study.agreement import (
    AgreedSetting,
    AgreedTitration,
    Agreement,
    FormulaLine,
    RoleLine,
    Version,
)
from doe.study.agreement_file import decode_agreement, with_line, with_version

# Whatever people type: quotes, line feeds, control signs, any script; no lone surrogates.
TEXTS = st.text(st.characters(codec="utf-8"), max_size=30)
DATES = st.dates(date(2000, 1, 1), date(2100, 1, 1))
LINES = st.lists(
    st.builds(
        RoleLine, role=st.sampled_from(["formulator", "Colourist", "production"]),
        says=st.sampled_from(["agrees", "objects"]), date=DATES, because=TEXTS,
    ),
    max_size=6,
)  # fmt: skip


def version(number: int, because: str, values: list[float]) -> Version:
    """Write a version with some settings."""
    return Version(
        number=number, date=date(2026, 1, 1), because=because, inputs={"goals": "ab"}, seed=1,
        level=0.95, batch_kg=100.0,
        settings=tuple(AgreedSetting(name=f"s{i}", value=v) for i, v in enumerate(values)),
    )  # fmt: skip


@settings(max_examples=25)
@given(
    because=TEXTS,
    values=st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=3),
    lines=LINES,
)
def test_the_record_reads_back_and_only_grows(
    because: str, values: list[float], lines: list[RoleLine]
) -> None:
    """No text and no number is lost or bent, and all bytes before stay."""
    data = with_version(None, version(1, because, values))
    for line in lines:
        grown = with_line(data, line)
        assert grown.startswith(data)
        data = grown
    data = with_version(data, version(2, because, values))

    first, second = decode_agreement(data).versions
    assert (first.because, second.because) == (because, because)
    assert [one.value for one in first.settings] == values
    assert first.lines == tuple(lines)
    assert second.lines == ()


@settings(max_examples=25)
@given(lines=LINES)
def test_every_role_is_missing_agrees_or_objects_by_its_last_word(lines: list[RoleLine]) -> None:
    """The three add up, and nobody is counted twice."""
    roles = ("formulator", "colourist", "production")
    whole = Version(
        number=1, date=date(2026, 1, 1), settings=(), inputs={}, seed=1, level=0.95,
        batch_kg=1.0, lines=tuple(lines),
    )  # fmt: skip
    standings = role_standings(whole, roles)
    last = {line.role.casefold(): line.says for line in lines}

    assert [one.role for one in standings] == list(roles)
    assert set(missing_roles(standings)) == set(roles) - set(last)
    assert set(objecting_roles(standings)) == {r for r, says in last.items() if says == "objects"}


@settings(max_examples=25)
@given(
    parts=st.lists(st.floats(0.01, 10.0), min_size=1, max_size=6),
    batch_kg=st.floats(0.1, 5000.0),
    held=st.floats(0.0, 5.0),
)
def test_a_card_of_any_size_weighs_out_the_formula(
    parts: list[float], batch_kg: float, held: float
) -> None:
    """With what is held back the loads add to the batch; ratios are those of the formula."""
    rest = 100.0 - sum(parts)
    formula = (
        FormulaLine(name="water", kind="balance", percent=rest),
        *(FormulaLine(name=f"m{i}", kind="additive", percent=p) for i, p in enumerate(parts)),
    )
    base = AgreedTitration(factor="pH", target=9.0, titrant="base", held_back_percent=held)
    whole = Version(
        number=1, date=date(2026, 1, 1), settings=(), inputs={}, seed=1, level=0.95,
        batch_kg=100.0, formula=formula, titrations=(base,),
    )  # fmt: skip
    subject = CardSubject(title="t", pigment="", agreement=Agreement(versions=(whole,)), roles=())
    card = make_card(subject, whole, batch_kg)

    total = sum(line.kg for line in card.lines) + card.titrations[0].held_back_kg
    assert abs(total - batch_kg) <= 1e-9 * batch_kg
    for line, percent in zip(card.lines[1:], parts, strict=True):
        assert abs(line.kg * 100.0 - percent * batch_kg) <= 1e-9 * batch_kg * percent
