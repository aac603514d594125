"""Readings of a batch or sample, held where what is set after them is concerned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.lab.response_data import ResponseData
from doe.model.set_later import set_later
from doe.study.brief import Study
from doe.study.settings import Settings


def at_its_stage(study: Study, data: ResponseData) -> ResponseData:
    """Hold settings that come after a reading where the first run has them.

    A reading of a batch stands in the row of one of its samples. That this sample was ground longer
    than that of another batch does not make the batches different: equal batches are replicates.

    Args:
        study: The brief.
        data: One response.
    """
    later = set_later(study, data.response.per)
    if not later or not len(data):
        return data
    whole = data.whole
    return replace(
        data,
        planned=_held(data.planned, later),
        actual=_held(data.actual, later),
        whole=whole if whole is None else at_its_stage(study, whole),
    )


def _held(settings: Settings, names: tuple[str, ...]) -> Settings:
    columns = [settings.names.index(name) for name in names]
    values = settings.values.copy()
    values[:, columns] = np.broadcast_to(values[0, columns], (len(values), len(columns)))
    return replace(settings, values=values)
