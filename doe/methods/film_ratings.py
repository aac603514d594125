"""Test methods of the family: water, defects that an eye rates.

Ratings of one defect run in opposite directions in different standards; each method holds its own.
"""

from __future__ import annotations

from doe.methods.method import Direction, Method, Option, RawColumn, RawTable

BLISTER_DENSITY, BLISTER_SIZE = "blister density", "blister size"
SIZE_NUMBER, FREQUENCY = "size number", "frequency"
RUST_AREA, RUST_GRADE, RUST_RATING = "rust area", "rust grade", "rust rating"
FLAKED_AREA, CUT_CLASS, CUT_RATING = "flaked area", "cross-cut class", "cross-cut rating"
EARLY_WATER, LEACHING = "early water rating", "surfactant leaching rating"

_HALVES = {f"{half / 2:g}": half / 2 for half in range(11)}
# ISO 4628-1 (from memory): quantity and intensity of a defect.
_QUANTITY = "0 none … 5 dense"
_INTENSITY = "0 unchanged, 1 barely, 2 slightly, 3 moderately, 4 considerably, 5 very marked"
# The words that the heads explain, and how they are shortened at the bench.
_INTENSITIES = {
    "unchanged": 0, "none": 0, "barely": 1, "barely visible": 1, "very slight": 1, "slightly": 2,
    "slight": 2, "moderately": 3, "moderate": 3, "considerably": 4, "considerable": 4,
    "very marked": 5,
}  # fmt: skip
_QUANTITIES = {"none": 0, "dense": 5}

BLISTERS = RawTable(
    name="blisters",
    columns=(
        RawColumn(
            name=BLISTER_DENSITY,
            ratings=_HALVES,
            spellings=_QUANTITIES,
            low=0,
            high=5,
            hint=_QUANTITY,
        ),
        RawColumn(
            name=BLISTER_SIZE,
            ratings={f"S{word}": number for word, number in _HALVES.items()},
            low=0,
            high=5,
            hint="S0 not seen at ×10, S1 only at ×10, S2 just seen, S3 to 0.5 mm, S4 to 5, S5 more",
        ),
    ),
)
# ASTM D714 (from memory): 8 is the smallest blister that the eye sees, 2 the largest.
BLISTERS_BY_LETTERS = RawTable(
    name="blisters by letters",
    columns=(
        RawColumn(
            name=SIZE_NUMBER,
            ratings={"2": 2, "4": 4, "6": 6, "8": 8, "10": 10},
            low=2,
            high=10,
            hint="10 none, 8 smallest … 2 largest",
        ),
        RawColumn(
            name=FREQUENCY,
            ratings={"none": 0, "F": 1, "M": 2, "MD": 3, "D": 4},
            spellings={"few": 1, "medium": 2, "medium dense": 3, "dense": 4},
            low=0,
            high=4,
            hint="F few, M medium, MD medium dense, D dense",
        ),
    ),
)
RUST = RawTable(
    name="rust",
    columns=(
        RawColumn(
            name=RUST_AREA, unit="%", low=0, high=100, is_needed=False, hint="rusted part of area"
        ),
        RawColumn(
            name=RUST_GRADE, ratings={f"Ri{n}": n for n in range(6)}, spellings={"sound": 0}, low=0,
            high=5, is_needed=False, hint="by the pictures, Ri0 sound",
        ),
        RawColumn(
            name=RUST_RATING, ratings={str(n): n for n in range(11)}, low=0, high=10,
            is_needed=False, hint="10 sound … 0",
        ),
    ),
)  # fmt: skip


def _cut_columns(state: str) -> tuple[RawColumn, ...]:
    return (
        RawColumn(
            name=f"{state}{FLAKED_AREA}", unit="%", low=0, high=100, is_needed=False,
            hint="flaked part of the lattice",
        ),
        RawColumn(
            name=f"{state}{CUT_CLASS}", ratings={str(n): n for n in range(6)}, low=0, high=5,
            is_needed=False, hint="0 nothing flaked … 5 worst",
        ),
        RawColumn(
            name=f"{state}{CUT_RATING}", ratings={f"{n}B": n for n in range(6)}, low=0, high=5,
            is_needed=False, hint="5B nothing flaked … 0B worst",
        ),
    )  # fmt: skip


DRY, WET = "", "wet "
CROSS_CUT = RawTable(
    name="cross-cut",
    columns=(*_cut_columns(DRY), *_cut_columns(WET)),
    cautions=("The cutter is sharp: cut away from the hand.",),
)
EARLY = RawTable(
    name="early water",
    columns=(
        RawColumn(
            name=EARLY_WATER,
            ratings=_HALVES,
            spellings=_INTENSITIES,
            low=0,
            high=5,
            hint=_INTENSITY,
        ),
    ),
)
STAIN = RawTable(
    name="surfactant leaching",
    columns=(
        RawColumn(
            name=LEACHING,
            ratings=_HALVES,
            spellings=_INTENSITIES,
            low=0,
            high=5,
            hint=_INTENSITY,
        ),
    ),
)

_HALF_STEPS = Option(
    name="half_steps",
    # The drop-down of the workbook offers half steps, so they count as agreed without a word.
    default="yes",
    words=("no", "yes"),
    meaning="whether half steps were agreed",
    mark="read",
)
_LEAST = Option(
    name="least",
    default=0.01,
    low=0,
    high=100,
    unit="%",
    meaning="least area that is told from none",
    mark="read",
)
_ORDINAL = "A rating is ordinal: means need care; report medians, counts and parts within a limit."
_WEEK = "The film age of 7 d is common practice, no source."
_DAY = "The film age of 1 d is common practice, no source: such films are judged young."
_AREA_FIRST = (
    "The rating as read counts; without one it follows from the area. Limits lie about half a "
    "decade apart: fit the area itself where you have it."
)
_OPPOSITE = "ISO 2409 (0 best) and D3359-B (5B best) run in opposite directions and add to 5."


def _rating(
    name: str,
    gives: str,
    direction: Direction,
    *,
    standard: str,
    table: RawTable,
    worst_and_best: tuple[float, float] = (0, 5),
    options: tuple[Option, ...] = (),
    film_age_d: float = 7,
    formula: str = "",
    notes: tuple[str, ...] = (),
) -> Method:
    return Method(
        name=name,
        gives=gives,
        unit="",
        direction=direction,
        scale_type="rating",
        bounds=worst_and_best,
        standard=standard,
        film_age_d=film_age_d,
        per="panel",
        table=table,
        options=options,
        formula=formula,
        notes=(*notes, _ORDINAL, _DAY if film_age_d < 7 else _WEEK),
    )


def _cross_cuts(state: str) -> tuple[Method, Method]:
    when = "right out of the water" if state else "dry"
    return (
        _rating(
            f"{state}{CUT_CLASS}", f"class of a cross-cut, {when}, 0 (nothing flaked) to 5", "low",
            standard="ISO 2409:2013", table=CROSS_CUT, notes=(_OPPOSITE,),
        ),
        _rating(
            f"{state}{CUT_RATING}", f"rating of a cross-cut, {when}, 5 (5B, nothing flaked) to 0",
            "high", standard="ASTM D3359, method B", table=CROSS_CUT, notes=(_OPPOSITE,),
        ),
    )  # fmt: skip


METHODS: tuple[Method, ...] = (
    _rating(
        BLISTER_DENSITY, "quantity of blisters, 0 (none) to 5 (dense)", "low",
        standard="ISO 4628-2:2016", table=BLISTERS, options=(_HALF_STEPS,),
        notes=("Code d(Ss): read size beside density; 0(S0) is sound. Classes from memory.",),
    ),
    _rating(
        BLISTER_SIZE, "size of blisters, 0 (S0, none) to 5 (S5, above 5 mm)", "low",
        standard="ISO 4628-2:2016", table=BLISTERS, options=(_HALF_STEPS,),
        notes=("Code d(Ss): read density beside size; 0(S0) is sound. Classes from memory.",),
    ),
    _rating(
        "blister size number", "size of blisters, 10 (none), 8 (smallest) to 2 (largest)", "high",
        standard="ASTM D714", table=BLISTERS_BY_LETTERS, worst_and_best=(0, 10),
        notes=("The scale is from memory. It runs against that of ISO 4628-2.",),
    ),
    _rating(
        "blister frequency", "frequency of blisters: none, F, M, MD, D as 0 to 4", "low",
        standard="ASTM D714", table=BLISTERS_BY_LETTERS, worst_and_best=(0, 4),
        notes=("The letters are from memory; their numbers give the order only.",),
    ),
    Method(
        name=RUST_AREA,
        gives="rusted part of the area",
        unit="%",
        direction="low",
        scale_type="bounded",
        scale="log",
        bounds=(0, 100),
        standard="ASTM D610; ISO 4628-3",
        film_age_d=7,
        per="panel",
        table=RUST,
        options=(_LEAST,),
        notes=(
            "Less than the least area that is told from none counts as below it.",
            _WEEK,
        ),
    ),
    _rating(
        RUST_GRADE, "degree of rusting, 0 (Ri0, none) to 5 (Ri5)", "low",
        standard="ISO 4628-3:2016", table=RUST,
        notes=(_AREA_FIRST, "The areas of the pictures are from memory."),
    ),
    _rating(
        RUST_RATING, "rust rating, 10 (at most 0.01 % of the area) to 0 (above 50 %)", "high",
        standard="ASTM D610-08", table=RUST, worst_and_best=(0, 10),
        notes=(_AREA_FIRST, "Spot, general and pinpoint rust are not told apart here."),
    ),
    *_cross_cuts(DRY),
    *_cross_cuts(WET),
    _rating(
        EARLY_WATER, "change of a young film by water, 0 (unchanged) to 5", "low",
        standard="shop practice, intensities after ISO 4628-1 (from memory)", table=EARLY,
        options=(_HALF_STEPS,), film_age_d=1,
        notes=("Say hours of drying and hours of water; both decide.",),
    ),
    _rating(
        LEACHING, "stain where drops ran down a young film, 0 (none) to 5", "low",
        standard="ASTM D7190-10(2023)", table=STAIN, options=(_HALF_STEPS,), film_age_d=1,
        notes=("Intensities after ISO 4628-1 (from memory), not the words of D7190.",),
    ),
)  # fmt: skip
