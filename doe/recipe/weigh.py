"""Weighing in one place: what other rooms ask of it, from settings to grams and back."""

from doe.recipe.actual import actual_package, actual_settings, check_weighing
from doe.recipe.batch_recipe import weigh_batch
from doe.recipe.batches import bench_batches, run_settings, weigh_plan
from doe.recipe.letdown import weigh_sample
from doe.recipe.titration import SettingsRow

__all__ = [
    "SettingsRow",
    "actual_package",
    "actual_settings",
    "bench_batches",
    "check_weighing",
    "run_settings",
    "weigh_batch",
    "weigh_plan",
    "weigh_sample",
]
