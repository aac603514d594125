"""Names of sources in the words of the trade, for screens and reports alike."""

from __future__ import annotations

from analysis.risk.response_part import BATCH, MODEL, TEST

_WORDS = {
    "day": "scatter from day to day",
    BATCH: "scatter from batch to batch",
    TEST: "the test (sample, drawdown, reading)",
    MODEL: "what the models do not know",
}


def source_words(name: str, kind: str) -> str:
    """Say a source of scatter.

    Example:
        >>> source_words("day", "day"), source_words("mill temperature", "noise")
        ('scatter from day to day', 'drift of mill temperature')
    """
    if kind == "noise":
        return f"drift of {name}"
    if kind in ("weighing", "setting"):
        return name
    return _WORDS.get(kind, f"scatter from {name} to {name}")


def of_hundred(probability: float, error: float) -> str:
    """Say a probability as batches of a hundred, as far as its error carries.

    Example:
        >>> of_hundred(0.87412, 0.004), of_hundred(0.97456, 0.00036), of_hundred(1.0, 1e-5)
        ('87.4', '97.46', '100')
    """
    text = f"{100.0 * probability:.{1 if error >= 0.001 else 2}f}"
    # All of them only where not one draw failed.
    if probability >= 1.0:
        return "100"
    return text if not text.startswith("100") else "above 99.9"
