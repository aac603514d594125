"""The interactive page as one file: markup, look, script and data, nothing beside it."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from analysis.report.decide.basis import DecisionBasis
from analysis.report.decide.page_data import as_script_data, page_data

PACKAGE = "analysis.report.decide"
# The modules of the script, lowest first; each knows those before it.
MODULES = (
    "data", "chance", "scales", "bends", "terms", "predict", "recipe", "region", "steps", "room",
    "choose", "words", "state", "elements", "hand", "ruler", "weighing", "expect", "card",
    "weights", "beside", "page",
)  # fmt: skip


def render_decide(basis: DecisionBasis) -> str:
    """Write the interactive page: no file beside it, no network, no clock.

    Args:
        basis: What it is made from.

    Returns:
        The page; the same basis gives the same text. Its policy allows its own script alone, by
        the script's hash, and no connection at all.
    """
    data = page_data(basis)
    script = page_script()
    runs = dict.fromkeys(
        response["predictFor"] for response in data["responses"] if response["kind"] != "computed"
    )
    return (
        _environment()
        .get_template("decide.html")
        .render(
            data=data,
            runs="; or ".join(runs),
            agreed=basis.agreed,
            style=Markup(_read("decide.css")),
            script=Markup(script),
            script_hash=_hash(script),
            json=Markup(as_script_data(data)),
        )
    )


@cache
def page_script() -> str:
    """Put the modules of the script together, in one scope that nothing else sees."""
    bodies = [_read(f"js/{name}.js") for name in MODULES]
    return "\n".join(['(() => {\n"use strict";', *bodies, "})();\n"])


def _hash(script: str) -> str:
    """Give the hash by which the page's policy knows its script."""
    digest = hashlib.sha256(script.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode('ascii')}"


@cache
def _read(name: str) -> str:
    return (files(PACKAGE) / name).read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    return Environment(
        loader=FunctionLoader(_read),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
