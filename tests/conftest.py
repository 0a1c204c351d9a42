"""Shared set-up of the tests."""

import os

os.environ["MPLBACKEND"] = "Agg"  # no screen
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only get in the way

from hypothesis import HealthCheck, settings

# Shared machines are slow at times: no deadline, and the same examples every run.
settings.register_profile(
    "edgekit", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("edgekit")


# Modules left out of the fast tier (``-m "not slow and not long"``): each takes more than some
# seconds.
LONG = {
    "test_edge_oracle",
    "test_engines",
    "test_files",
    "test_lesson_browser",
    "test_lesson_course",
    "test_lesson_faults",
    "test_lesson_notebooks",
    "test_regression",
    "test_regression_results",
    "test_strokes",
    "test_stroke_oracles",
    "test_worn_blade",
}


def pytest_collection_modifyitems(items):
    for item in items:
        if item.path.stem in LONG or item.path.stem.startswith("test_pictures"):
            item.add_marker("long")
