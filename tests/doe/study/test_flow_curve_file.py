"""Flow curves from files: long and wide, units, labels, and every fault by its place."""

from __future__ import annotations

import io

import pytest
from openpyxl import Workbook

from doe.errors import ResultsError
from doe.study.curves import Curve
from doe.study.flow_curve_file import is_flow_curve_file, read_flow_curves
from doe.study.flow_curve_heads import read_label

Told = tuple[int | None, int | None, float | None, int, tuple[float, ...], tuple[float, ...]]


def _told(curve: Curve) -> Told:
    return curve.run, curve.panel, curve.age_d, curve.repeat, curve.x, curve.y


def _read(text: str) -> list[Told]:
    return [_told(curve) for curve in read_flow_curves(text.encode(), "flow.csv")]


def _faults(text: str) -> list[str]:
    with pytest.raises(ResultsError) as caught:
        read_flow_curves(text.encode(), "flow.csv")
    return [fault.sentence() for fault in caught.value.faults]


# Run 7: 0.5 Pa at 1 1/s, 1.5 Pa at 10 1/s, however it is written.
SAME = {
    "long, stress": "run,shear rate (1/s),shear stress (Pa)\n7,1,0.5\n7,10,1.5\n",
    "long, plain heads": "run,shear_rate,shear_stress\n7,1,0.5\n7,10,1.5\n",
    "long, descending": "run,shear rate (1/s),shear stress (Pa)\n7,10,1.5\n7,1,0.5\n",
    "long, viscosity": "run,shear rate (1/s),viscosity (mPa·s)\n7,1,500\n7,10,150\n",
    "long, Pa·s": "run,shear rate [s⁻¹],η [Pa·s]\n7,1,0.5\n7,10,0.15\n",
    "long, cP": "run,rate (s^-1),viscosity (cP)\n7,1,500\n7,10,150\n",
    "long, both": "run,shear rate,shear stress,viscosity (mPas)\n7,1,0.5,500\n7,10,1.5,150\n",
    "long, label": "label;shear rate (1/s);shear stress (Pa)\nrun 7;1;0,5\nRun 7;10;1,5\n",
    "wide, stress": "shear rate (1/s),run 7 (Pa)\n1,0.5\n10,1.5\n",
    "wide, viscosity": "shear rate (1/s)\trun 7 viscosity (mPa·s)\n1\t500\n10\t150\n",
    "wide, in the first head": "shear rate (1/s) / viscosity (Pa·s);run_7\n1;0,5\n10;0,15\n",
    "wide, dyne": "shear rate (1/s),run 7 (dyn/cm²)\n1,5\n10,15\n",
}


@pytest.mark.parametrize("text", SAME.values(), ids=SAME.keys())
def test_one_curve_reads_alike_however_it_is_written(text: str) -> None:
    """Stress in Pa over rate in 1/s, ascending; viscosity times rate is stress."""
    (run, panel, age, repeat, rate, stress), *rest = _read(text)

    assert (run, panel, age, repeat, rest) == (7, None, None, 1, [])
    assert rate == (1.0, 10.0)
    assert stress == pytest.approx((0.5, 1.5))
    assert is_flow_curve_file(text.encode(), "flow.csv")


def test_a_workbook_reads_as_text_does() -> None:
    """The first sheet, with numbers as numbers."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["shear rate (1/s)", "run 7 (Pa)"], [1, 0.5], [10, 1.5]):
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)

    assert _told(read_flow_curves(out.getvalue(), "flow.xlsx")[0])[4:] == ((1.0, 10.0), (0.5, 1.5))
    assert is_flow_curve_file(out.getvalue(), "flow.xlsx")


def test_units_of_the_plan_come_from_columns() -> None:
    """Run, panel, age and repeat, in columns of their own."""
    text = (
        "run,panel,age_d,repeat,shear rate,shear stress\n"
        "3,2,28,1,1,2\n3,2,28,1,10,5\n3,2,28,2,1,2.1\n"
    )

    assert _read(text) == [
        (3, 2, 28.0, 1, (1.0, 10.0), (2.0, 5.0)),
        (3, 2, 28.0, 2, (1.0,), (2.1,)),
    ]


def test_units_of_the_plan_come_from_labels() -> None:
    """As the bench names curves in the instrument."""
    text = "shear rate (1/s),run 7 (Pa),run 7 age 28 repeat 2 (Pa),run 8 panel 1 (Pa)\n1,2,3,4\n"

    assert [told[:4] for told in _read(text)] == [
        (7, None, None, 1),
        (7, None, 28.0, 2),
        (8, 1, None, 1),
    ]


@pytest.mark.parametrize(
    ("text", "run", "panel", "age_d", "repeat"),
    [
        ("run 7", 7, None, None, 1),
        ("Run 7, repeat 2", 7, None, None, 2),
        ("run_12_age_0.5_repeat_3", 12, None, 0.5, 3),
        ("run 7, panel 2, age 28 d", 7, 2, 28.0, 1),
    ],
)
def test_labels_are_read_as_they_are_given(
    text: str, run: int, panel: int | None, age_d: float | None, repeat: int
) -> None:
    """Blanks, commas and underscores part the words."""
    label = read_label(text)

    assert label is not None
    assert (label.run, label.panel, label.age_d, label.repeat) == (run, panel, age_d, repeat)


@pytest.mark.parametrize("text", ["", "7", "run", "run 0", "run 7 old", "run 7 repeat", "sample 7"])
def test_other_labels_name_no_run(text: str) -> None:
    """A label half understood would send a curve to the wrong run."""
    assert read_label(text) is None


def test_blank_cells_are_left_out() -> None:
    """Curves in one table need not share all rates; an empty one is none."""
    text = "shear rate (1/s),run 7 (Pa),run 8 (Pa),run 9 (Pa)\n1,2,,\n10,5,6,\n"

    assert [(told[0], told[4]) for told in _read(text)] == [(7, (1.0, 10.0)), (8, (10.0,))]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("run,viscosity (mPa·s)\n1,20.5\n", "flow.csv: no column holds shear rates"),
        (
            "run,shear rate,viscosity\n1,1,20.5\n",
            "column 'viscosity': the unit is missing; allowed: mPa·s, Pa·s, cP",
        ),
        (
            "run,shear rate,viscosity (MPa·s)\n1,1,20.5\n",
            "the unit 'MPa·s' is none of a viscosity",
        ),
        ("run,shear rate (rpm),shear stress\n1,1,20.5\n", "the unit 'rpm' is none of a rate"),
        ("shear rate,shear stress\n1,20.5\n", "no column says which run each line belongs to"),
        ("shear rate,run 7\n1,20.5\n", "nothing says whether the column holds shear stress or"),
        ("shear rate,run 7 (rpm)\n1,20.5\n", "'rpm' is no unit of shear stress or viscosity"),
        ("shear rate,batch 7 (Pa)\n1,20.5\n", "column 'batch 7 (Pa)': 'batch 7 (Pa)' names no run"),
        (
            "shear rate,run 7 (Pa),run 7 (mPa)\n1,2,3\n",
            "column 'run 7 (mPa)': the curve stands in another column too",
        ),
        ("run,shear rate,shear stress\n1,1,-2\n", "line 2, column 'shear stress': -2 is not above"),
        ("run,shear rate,shear stress\n1,0,2\n", "line 2, column 'shear rate': 0 is not above 0"),
        ("run,shear rate,shear stress\n1,1,x\n", "line 2, column 'shear stress': 'x' is not a num"),
        ("run,shear rate,shear stress\n1,,2\n", "line 2, column 'shear rate': a value stands here"),
        ("run,shear rate,shear stress\n,1,2\n", "line 2, column 'run': the line names no run"),
        ("run,shear rate,shear stress\n1.5,1,2\n", "line 2, column 'run': '1.5' cannot number"),
        (
            "run,shear rate,shear stress\n1,1,2\n1,10,5\n1,1,2.2\n",
            "line 4, column 'shear rate': the shear rate 1 1/s stands twice in the curve of run 1",
        ),
        ("label,shear rate,shear stress\nran 1,1,2\n", "line 2, column 'label': 'ran 1' names no"),
        ("run,shear rate,stress,shear stress\n1,1,2,2\n", "hold the same quantity"),
        ("run,shear rate,shear stress\n1,,\n", "the file holds no points of a flow curve"),
        ("run,shear rate,shear stress\n1,\"1,234\",\"2,345\"\n", "decimal"),
    ],
)  # fmt: skip
def test_wrong_files_are_refused_with_the_place(text: str, said: str) -> None:
    """Each message says where to mend the file."""
    faults = _faults(text)

    assert any(said in fault for fault in faults), faults


def test_all_faults_are_told_together() -> None:
    """One round of mending."""
    faults = _faults("run,shear rate,shear stress\n1,1,-2\n,1,2\n1,x,3\n")

    assert len(faults) == 3


@pytest.mark.parametrize(
    "text",
    [
        "run,viscosity,gloss\n1,300,80\n",
        "wavelength (nm),run 1\n400,0.5\n",
        "run,rate,viscosity\n1,3,300\n",
        "dose,grind rate,viscosity\n1,3,300\n",
    ],
)
def test_other_tables_are_not_taken_for_flow_curves(text: str) -> None:
    """A results table may hold a viscosity and a rate of its own."""
    assert not is_flow_curve_file(text.encode(), "bench.csv")


def test_a_faulty_flow_curve_file_is_still_known_by_its_heads() -> None:
    """Then its faults are told in its own terms."""
    text = 'shear rate (1/s),run 7 (Pa)\n"1,234","2,345"\n'

    assert is_flow_curve_file(text.encode(), "flow.csv")
    assert not is_flow_curve_file(b"\xff\xfe\x00", "flow.csv")
