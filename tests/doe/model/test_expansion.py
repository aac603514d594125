"""The model matrix, its columns and its slopes."""

from __future__ import annotations

import numpy as np
import pytest

from doe.model.coding import AxisRange, ChoiceAxis, Coding, NumericAxis, ShareAxis
from doe.model.expansion import SMALL_MATRIX
from doe.model.matrix import (
    Column,
    Expansion,
    column_label,
    compile_model,
    model_columns,
    model_matrix,
)
from doe.model.terms import Term, make_model

SHARES = tuple(ShareAxis(name=name, low=0.1, high=0.7) for name in "abc")
SALT = ChoiceAxis(name="salt", levels=("sodium", "ammonium", "amine"))
PH = NumericAxis(name="pH", unit="", low=8, high=9)
DOSE = NumericAxis(name="dose", unit="%", low=1, high=4, spacing="log")
RANGED = NumericAxis(
    name="dose",
    unit="%",
    low=1,
    high=6,
    ranges=(
        AxisRange(choice="salt", level="sodium", low=1, high=2),
        AxisRange(choice="salt", level="ammonium", low=None, high=None),
        AxisRange(choice="salt", level="amine", low=3, high=6),
    ),
)


def test_choices_sum_to_zero_over_their_levels() -> None:
    """+1 at the own level, −1 at the last, 0 else."""
    coding = Coding(axes=(SALT,))
    X = model_matrix(np.array([[0.0], [1.0], [2.0]]), coding, make_model("linear", coding))

    np.testing.assert_array_equal(X, [[1, 1, 0], [1, 0, 1], [1, -1, -1]])


def test_columns_carry_their_levels_and_print_them() -> None:
    """As tables show them."""
    coding = Coding(axes=(PH, SALT))
    labels = [column_label(c) for c in model_columns(make_model("interactions", coding), coding)]

    assert labels == [
        "intercept",
        "pH",
        "salt (sodium)",
        "salt (ammonium)",
        "pH × salt (sodium)",
        "pH × salt (ammonium)",
    ]


def test_a_named_choice_with_signs_in_its_name_prints_bare_with_its_level() -> None:
    """The level says that it is one name."""
    column = Column(term=Term(powers=(("salt × base", 1),)), levels=(("salt × base", "soda"),))

    assert column_label(column) == "salt × base (soda)"


def test_the_matrix_of_a_quadratic_is_the_one_worked_out_by_hand() -> None:
    """Coded in ln for the dose: 2 % is 0, pH 8.75 is 0.5."""
    coding = Coding(axes=(DOSE, PH))
    X = model_matrix(np.array([[4.0, 8.75], [2.0, 8.0]]), coding, make_model("quadratic", coding))

    np.testing.assert_allclose(X, [[1, 1, 0.5, 0.5, 1, 0.25], [1, 0, -1, 0, 0, 1]], atol=1e-12)


def test_a_full_cubic_has_its_antisymmetric_parts() -> None:
    """x·y·(x − y) at (0.5, 0.3, 0.2)."""
    coding = Coding(axes=SHARES)
    X = model_matrix(np.array([[0.5, 0.3, 0.2]]), coding, make_model("cubic", coding))

    np.testing.assert_allclose(X[0, 6:], [0.03, 0.03, 0.006, 0.03])


def test_a_ranged_factor_counts_zero_where_its_level_lacks_it() -> None:
    """Slopes compare the two salts that have a dose; the third adds nothing."""
    coding = Coding(axes=(RANGED, SALT))
    model = make_model("linear", coding)
    X = model_matrix(np.array([[2.0, 0], [np.nan, 1], [3.0, 2]]), coding, model)

    assert [column_label(c) for c in model_columns(model, coding)][-1] == "dose × salt (sodium)"
    np.testing.assert_allclose(X, [[1, 1, 1, 0, 1], [1, 0, 0, 1, 0], [1, -1, -1, -1, 1]])


def test_a_setting_left_open_stays_open() -> None:
    """Only a lacking factor counts 0; a hole in a table must not become the middle."""
    coding = Coding(axes=(PH, SALT))
    X = model_matrix(np.array([[np.nan, 0.0], [8.5, np.nan]]), coding, make_model("linear", coding))

    np.testing.assert_array_equal(np.isnan(X), [[0, 1, 0, 0], [0, 0, 1, 1]])


def example() -> tuple[Expansion, np.random.Generator]:
    """A rich model over everything."""
    coding = Coding(axes=(*SHARES, DOSE, PH, SALT))
    return compile_model(coding, make_model("cubic", coding)), np.random.default_rng(4)


def coded_rows(rng: np.random.Generator, n: int) -> np.ndarray:
    """Blends, two factors and a salt, coded."""
    return np.column_stack(
        [rng.dirichlet(np.ones(3), n), rng.uniform(-1, 1, (n, 2)), rng.integers(0, 3, n)]
    )


def test_few_rows_and_many_rows_go_the_same_way() -> None:
    """The gathered way for searches and the columnwise way for samples agree to the last bit."""
    expansion, rng = example()
    coded = coded_rows(rng, SMALL_MATRIX // len(expansion.columns) + 10)

    many = expansion.matrix(coded)

    np.testing.assert_allclose(expansion.matrix(coded[:20]), many[:20], rtol=1e-14, atol=1e-16)


def test_slopes_equal_finite_differences() -> None:
    """Along every numeric setting and share; 0 along a choice."""
    expansion, rng = example()
    coded = coded_rows(rng, 5)
    slopes = expansion.gradient(coded)

    h = 1e-6
    for j in range(5):
        ahead, back = coded.copy(), coded.copy()
        ahead[:, j] += h
        back[:, j] -= h
        difference = (expansion.matrix(ahead) - expansion.matrix(back)) / (2 * h)
        np.testing.assert_allclose(slopes[:, j], difference, atol=1e-8)
    assert not slopes[:, 5].any()


def test_a_lacking_factor_has_no_slope() -> None:
    """Nothing moves with a setting that is not there."""
    coding = Coding(axes=(RANGED, SALT))
    expansion = compile_model(coding, make_model("quadratic", coding))
    slopes = expansion.gradient(np.array([[np.nan, 1.0], [0.5, 0.0]]))

    assert not slopes[0].any()
    assert slopes[1, 0].any()


def test_a_model_is_compiled_once() -> None:
    """Searches ask for it again and again."""
    coding = Coding(axes=(PH,))

    first = compile_model(coding, make_model("quadratic", coding))

    assert compile_model(coding, make_model("quadratic", coding)) is first


@pytest.mark.parametrize("n", [0, 1])
def test_no_row_and_one_row_have_their_shape(n: int) -> None:
    """Empty selections happen."""
    expansion, rng = example()

    assert expansion.matrix(coded_rows(rng, n)).shape == (n, len(expansion.columns))
    assert expansion.gradient(coded_rows(rng, n)).shape == (n, 6, len(expansion.columns))
