"""Grain tables and abrasives."""

import numpy as np
import pytest

from edgekit.errors import EdgekitError
from edgekit.evidence_table import Status, entry
from edgekit.method.abrasive import (
    Abrasive,
    Lubricant,
    ceramic_stone,
    diamond_plated_stone,
    fine_natural_stone,
)
from edgekit.method.grain import Scale, grain, grain_um, numbers

# Quotients of two-digit table values, given to two digits.
RATIO_TOLERANCE = 0.05


# ISO 6344 (P), ISO 8486-2 (F, from memory), JIS R 6001:1987 as copied in two independent lists
# of the standards: typed here a second time, apart from the package's table.
@pytest.mark.parametrize(
    ("scale", "given", "median"),
    [
        ("FEPA-P", (240, 400, 600, 1000, 1200, 2000), (58.5, 35.0, 25.8, 18.3, 15.3, 10.3)),
        ("FEPA-F", (240, 400, 600, 800, 1000, 1200), (44.5, 17.3, 9.3, 6.5, 4.5, 3.0)),
        ("JIS", (240, 700, 1000, 3000, 6000, 8000), (57.0, 17.0, 11.5, 4.0, 2.0, 1.2)),
    ],
)
def test_medians_are_those_of_the_standards(scale, given, median):
    assert [grain_um(scale, number) for number in given] == list(median)


# The arithmetic on the standards' tables that shows why a number needs its scale.
@pytest.mark.parametrize(
    ("one", "other", "number", "ratio"),
    [
        ("FEPA-P", "FEPA-F", 240, 1.31),
        ("FEPA-P", "FEPA-F", 400, 2.0),
        ("FEPA-P", "FEPA-F", 600, 2.8),
        ("FEPA-P", "FEPA-F", 1000, 4.1),
        ("FEPA-P", "FEPA-F", 1200, 5.1),
        ("FEPA-P", "FEPA-F", 2000, 8.6),
        ("JIS", "FEPA-F", 1000, 2.6),
        ("JIS", "FEPA-F", 2000, 5.6),
    ],
)
def test_the_same_number_means_different_grains(one, other, number, ratio):
    assert grain_um(one, number) / grain_um(other, number) == pytest.approx(
        ratio, abs=RATIO_TOLERANCE
    )


@pytest.mark.parametrize("scale", list(Scale))
def test_grains_fall_along_each_scale_and_bands_of_neighbours_hardly_overlap(scale):
    grades = [grain(scale, number) for number in numbers(scale)]
    medians = np.array([grade.median_um for grade in grades])
    tolerances = np.array([grade.tolerance_um for grade in grades])
    assert (np.diff(medians) < 0).all()
    assert (medians[1:] < medians[:-1] - tolerances[:-1] + 1e-9).all()


def test_a_grade_says_how_far_it_may_be_trusted():
    assert grain("FEPA-P", 1000).status is Status.PUBLISHED
    assert grain("FEPA-P", 1000).tolerance_status is Status.MEMORY
    assert grain("FEPA-F", 1000).status is Status.MEMORY
    assert grain(Scale.JIS, 1000).tolerance_um == 1.0
    assert "photosedimentometer" in grain("FEPA-F", 1200).method


def test_bare_number_is_refused_with_the_reason():
    with pytest.raises(EdgekitError, match=r"18\.3, 4\.5 or 11\.5"):
        grain_um(1000)  # type: ignore[arg-type]


def test_an_abrasive_by_grade_and_by_median():
    graded = Abrasive(name="a", scale="JIS", number=1000, lubricant=Lubricant.WATER)
    assert graded.scale is Scale.JIS
    assert graded.grain_um == 11.5
    assert graded.ra_um == pytest.approx(11.5 / 130)
    natural = fine_natural_stone()
    assert natural.scale is None
    assert natural.grain_um == entry("novaculite_crystal_um").value
    assert natural.ra_um == entry("ra_floor_um").value  # 3/130 lies below the floor


def test_removal_follows_the_weighed_stones():
    # Hessheimer et al. 2017: 7.62 and 0.69 mg in 400 strokes, steel of 7.75 mg/mm³.
    for stone, milligrams in ((diamond_plated_stone(), 7.62), (ceramic_stone(), 0.69)):
        weighed = milligrams / 400 / entry("steel_density_mg_per_mm3").value
        assert stone.removal_mm3_per_stroke == pytest.approx(weighed, rel=0.05)
