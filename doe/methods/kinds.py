"""What kind of number a response is: a plain number, a rating or a count."""

from __future__ import annotations

from typing import Literal

from doe.methods.registry import find_method
from doe.study.brief import Response

Kind = Literal["number", "rating", "count"]


def kind_of(response: Response) -> Kind:
    """Tell the kind of a response: by the brief's `kind`, else by its method.

    Example:
        >>> kind_of(Response.model_validate({"name": "settling", "from": "settling rating"}))
        'rating'
    """
    if response.kind is not None:
        return response.kind
    method = find_method(response.method) if response.method else None
    if method is not None and method.scale_type == "rating":
        return "rating"
    return "count" if method is not None and method.scale_type == "count" else "number"
