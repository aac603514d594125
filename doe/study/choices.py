"""`choices.toml`: every decision that changes a number, why it was taken and by which role."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any, Literal

from pydantic import ConfigDict, TypeAdapter, ValidationError

from doe.errors import Fault, StudyError
from doe.study.file_format import FORMAT, read_toml
from doe.study.names import fold
from doe.study.toml_text import toml_table

CHOICES_FILE = "choices.toml"
# A key that nobody reads is a slip of the pen: it is refused.
_CLOSED = ConfigDict(extra="forbid")
Says = Literal["lost", "excluded", "back", "stands"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseChoice:
    """How one response is modelled.

    Attributes:
        model: Name of the model, None for the one the command picks.
        dropped: Terms left out of it.
        terms: The terms that are fitted, where some were left out; these decide, as dropping a set
            of terms one way or another can leave different ones.
        scale: Name of the scale, None for that of the brief.
        power: Exponent of the scale `power`.
        form: Form of one factor, such as `grind time: first order`; None for the polynomial.
        correct_drift: Whether a straight drift along the order as done is fitted beside the model.
        because: Why.
        role: Who decided.
    """

    __pydantic_config__ = _CLOSED
    model: str | None = None
    dropped: tuple[str, ...] = ()
    terms: tuple[str, ...] = ()
    scale: str | None = None
    power: float | None = None
    form: str | None = None
    correct_drift: bool | None = None
    because: str = ""
    role: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """What was said of a run, batch, day or reading.

    Attributes:
        subject: What kind of unit; `reading` is a line of `readings.csv`.
        number: Its number, of a reading its id.
        response: The response it is said of, None for all.
        says: `lost` and `excluded` leave the readings out, `back` takes the last word back,
            `stands` settles a doubt and changes no number.
        because: Why.
        role: Who said it.
    """

    __pydantic_config__ = _CLOSED
    subject: Literal["run", "batch", "day", "reading"]
    number: int
    response: str | None = None
    says: Says
    because: str = ""
    role: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChosenSettings:
    """The settings that were chosen, in lab units, a named choice by its level."""

    __pydantic_config__ = _CLOSED
    settings: Mapping[str, float | str]
    because: str = ""
    role: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenIn:
    """A round of confirmation batches that the models are to be built on, too.

    Attributes:
        round: Its number in the plan.
        because: Why.
        role: Who decided.
    """

    __pydantic_config__ = _CLOSED
    round: int
    because: str = ""
    role: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """All decisions of a study; notes in the order in which they were made."""

    responses: Mapping[str, ResponseChoice] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()
    chosen: ChosenSettings | None = None
    taken_in: tuple[TakenIn, ...] = ()

    @property
    def rounds_taken_in(self) -> frozenset[int]:
        """Rounds of confirmation batches that the models are built on."""
        return frozenset(one.round for one in self.taken_in)

    def response(self, name: str) -> ResponseChoice:
        """Give what was decided of a response; nothing, if nothing was."""
        by_fold = {fold(known): choice for known, choice in self.responses.items()}
        return by_fold.get(fold(name), ResponseChoice())

    def with_response(self, name: str, choice: ResponseChoice) -> Choices:
        """Decide a response anew."""
        others = {key: one for key, one in self.responses.items() if fold(key) != fold(name)}
        return replace(self, responses=others | {name: choice})

    def with_note(self, note: Note) -> Choices:
        """Add a note behind the others."""
        return replace(self, notes=(*self.notes, note))

    def standing_notes(self) -> tuple[Note, ...]:
        """Give the notes in force: the last of each unit and response, those taken back left out.

        `back` of a unit without a response takes back all that was said of the unit.
        """
        standing: dict[tuple[str, int, str | None], Note] = {}
        for note in self.notes:
            response = None if note.response is None else fold(note.response)
            gone = [
                key
                for key in standing
                if key[:2] == (note.subject, note.number)
                and (key[2] == response or (note.says == "back" and response is None))
            ]
            for key in gone:
                del standing[key]
            if note.says != "back":
                standing[note.subject, note.number, response] = note
        return tuple(standing.values())


def encode_choices(choices: Choices) -> bytes:
    """Write all decisions: responses and settings sorted by name, notes in their order."""
    parts = ["# Written by millbase: every decision that changes a number.", f"format = {FORMAT}"]
    for name in sorted(choices.responses):
        parts += ["", *toml_table(("response", name), _filled(choices.responses[name]))]
    for note in choices.notes:
        parts += ["", *toml_table(("note",), _filled(note), repeated=True)]
    for taken in choices.taken_in:
        parts += ["", *toml_table(("taken_in",), _filled(taken), repeated=True)]
    if choices.chosen is not None:
        settings = {name: choices.chosen.settings[name] for name in sorted(choices.chosen.settings)}
        about = {"because": choices.chosen.because, "role": choices.chosen.role}
        parts += ["", *toml_table(("chosen",), {key: said for key, said in about.items() if said})]
        parts += ["", *toml_table(("chosen", "settings"), settings)]
    return ("\n".join(parts) + "\n").encode()


def decode_choices(data: bytes, where: str = CHOICES_FILE) -> Choices:
    """Read all decisions.

    Raises:
        StudyError: The file is no TOML, has faults, or is of an unknown format.
    """
    content = read_toml(data, where)
    known = {
        "format": None, "response": "responses", "note": "notes", "taken_in": "taken_in",
        "chosen": "chosen",
    }  # fmt: skip
    faults = [
        Fault(where=where, what=f"the key '{key}' is not known", allowed=", ".join(known))
        for key in content
        if key not in known
    ]
    if faults:
        raise StudyError.from_faults(faults)
    plain = {new: content[old] for old, new in known.items() if new and old in content}
    try:
        return _CHOICES.validate_python(plain)
    except ValidationError as cause:
        raise StudyError.from_faults(
            Fault(where=f"{where}, {_key(one['loc'])}", what=one["msg"]) for one in cause.errors()
        ) from cause


_CHOICES = TypeAdapter(Choices)


def _key(place: tuple[int | str, ...]) -> str:
    """Write the place of a fault as the file has it, tables of one name counted from 1."""
    as_written = {"responses": "response", "notes": "note"}
    first, *rest = place
    parts = (str(one + 1) if isinstance(one, int) else one for one in rest)
    return ".".join((as_written.get(str(first), str(first)), *parts))


def _filled(value: ResponseChoice | Note | TakenIn) -> dict[str, Any]:
    pairs = {one.name: getattr(value, one.name) for one in fields(value)}
    return {key: said for key, said in pairs.items() if said not in (None, "", ())}
