"""Bad input to the finish and strength functions: refused with what, the value and a remedy."""

from collections.abc import Callable

import numpy as np
import pytest

from edgekit.bending.section_properties import bending_stress_mpa, section_properties
from edgekit.edge_finish.cutting import (
    apparent_bevel_deg,
    working_angles,
)
from edgekit.edge_finish.edge_line import (
    correlation_length_um,
    edge_rq_um,
    min_visible_um,
    scratch_lengths_um,
    teeth_per_mm,
)
from edgekit.edge_finish.edge_profile import realise
from edgekit.edge_finish.hardness import hardness_pa, rockwell_c, vickers
from edgekit.edge_finish.texture import roughness
from edgekit.edge_finish.tooth_wear import (
    LineContact,
    default_contact,
    gaussian_heights,
    wear_teeth,
)
from edgekit.errors import EdgekitError
from edgekit.method.abrasive import Abrasive, Lubricant
from edgekit.method.grain import grain_um
from edgekit.method.wire_edge import StrokeSense, wire_edge

NAN = float("nan")
X = np.linspace(0, 5000, 501)
Z = np.sin(X)
SQUARE = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]


def rng() -> np.random.Generator:
    return np.random.default_rng(1)


def contact(**changes: float) -> LineContact:
    given = {
        "load_n_per_mm": 2.5,
        "stroke_mm": 4.0,
        "counterface_hv": 50.0,
        "steel_hv": 613.0,
        "wear_coefficient": 1e-4,
    }
    return LineContact(**(given | changes))


def wear(**changes: object):
    given = {"internal_angle_deg": 75.0, "strokes": [0, 10]}
    heights = changes.pop("heights_um", [0.0, 0.1])
    return wear_teeth(heights, **(given | changes))


def stone(**changes: object) -> Abrasive:
    return Abrasive(**({"name": "a", "lubricant": Lubricant.OIL} | changes))


# What it is, the call, and words of the message that a user needs to see.
CASES: list[tuple[str, Callable[[], object], str]] = [
    ("bare grit number", lambda: grain_um(1000), "needs its scale"),
    ("bare number as text", lambda: grain_um("1000"), "no such grit scale"),
    ("scale misspelt", lambda: grain_um("fepa-p", 1000), "FEPA-P"),
    ("scale of another series", lambda: grain_um("ANSI", 240), "no such grit scale"),
    ("number missing", lambda: grain_um("JIS"), "needs a number"),
    ("number between grades", lambda: grain_um("FEPA-P", 1100), "not interpolated"),
    ("number of another scale", lambda: grain_um("FEPA-F", 8000), "no such grit number"),
    ("number with a letter", lambda: grain_um("FEPA-P", "P1000"), "must be a number"),
    ("number with a fraction", lambda: grain_um("FEPA-P", 1000.5), "whole number"),
    ("number true", lambda: grain_um("FEPA-P", True), "whole number"),
    ("number not a number", lambda: grain_um("FEPA-P", NAN), "finite"),
    ("stone without grade", stone, "either by scale and number or by median"),
    ("stone with two grades", lambda: stone(scale="JIS", number=1000, median_um=11.5), "either"),
    ("stone with a bare number", lambda: stone(number=1000), "needs its scale"),
    ("stone of negative grain", lambda: stone(median_um=-3.0), "above 0"),
    ("lubricant as text", lambda: stone(median_um=3.0, lubricant="oil"), "Lubricant"),
    ("removal as a number", lambda: stone(median_um=3.0, removal=1e-3), "Evidence"),
    ("too soft for Rockwell C", lambda: vickers(19.0), "20 to 68"),
    ("Vickers given as Rockwell", lambda: vickers(653), "20 to 68"),
    ("Rockwell given as Vickers", lambda: rockwell_c(58), "237 to 927"),
    ("hardness not a number", lambda: vickers([55, NAN]), "finite"),
    ("hardness of nothing", lambda: hardness_pa(0.0), "above 0"),
    ("profile of two points", lambda: roughness([0, 1], [0, 1]), "3 points"),
    ("profile without heights", lambda: roughness(X, Z[:-1]), "one length"),
    ("positions repeated", lambda: roughness([0, 1, 1, 2], [0, 1, 2, 3]), "after entry 1"),
    ("positions falling", lambda: roughness(X[::-1], Z), "must rise"),
    ("heights with a gap", lambda: roughness([0, 1, 2], [0, NAN, 1]), "finite"),
    ("profile as a table", lambda: roughness(X[:, None], Z[:, None]), "shape"),
    ("cut-off of zero", lambda: roughness(X, Z, cutoff_um=0.0), "above 0"),
    ("cut-off in millimetres", lambda: roughness(X, Z, cutoff_um=0.8), "two mean spacings"),
    ("cut-off too long", lambda: roughness(X, Z, cutoff_um=2501.0), "two cut-offs"),
    ("no sections", lambda: roughness(X, Z, sections=0), "1 or more"),
    ("material ratio at infinity", lambda: roughness(X, Z).material_ratio(np.inf), "finite"),
    ("ratio in per cent", lambda: roughness(X, Z).curve.level_at(40.0), "shares of 1"),
    (
        "scratches swapped",
        lambda: correlation_length_um(0, l_perp_um=40.0, l_par_um=2.0),
        "swap",
    ),
    (
        "scratches of no width",
        lambda: correlation_length_um(0, l_perp_um=0.0, l_par_um=2.0),
        "above 0",
    ),
    ("lay not a number", lambda: correlation_length_um(NAN, l_perp_um=1, l_par_um=2), "finite"),
    ("facet of 180 degrees", lambda: edge_rq_um(180.0, 0.1), "between 0 and 180"),
    ("negative roughness", lambda: edge_rq_um(75.0, -0.1), "0 or more"),
    ("spacing of zero", lambda: scratch_lengths_um(0.0), "above 0"),
    ("magnification of zero", lambda: min_visible_um(0.0), "above 0"),
    ("length of zero", lambda: teeth_per_mm(0.0), "above 0"),
    ("shortest wave negative", lambda: teeth_per_mm(2.0, min_wavelength_um=-1.0), "above 0"),
    ("one station", lambda: realise([0.0], 2.0, 0.1, rng=rng()), "2 stations"),
    ("stations falling", lambda: realise([5, 0], 2.0, 0.1, rng=rng()), "must rise"),
    ("lengths that do not match", lambda: realise([0, 5], [1, 2, 3], 0.1, rng=rng()), "one shape"),
    ("lengths in metres", lambda: realise([0, 5650], 4e-6, 0.1, rng=rng()), "too many points"),
    ("text instead of a seed", lambda: realise([0, 5], 2.0, 0.1, rng="7"), "Generator"),
    ("steps of zero", lambda: realise([0, 5], 2.0, 0.1, rng=rng(), steps=0), "2 or more"),
    (
        "face to tooth of zero",
        lambda: working_angles(face_tooth_deg=0, internal_angle_deg=75),
        "between 0 and 180",
    ),
    (
        "angles in text",
        lambda: working_angles(face_tooth_deg="70 deg", internal_angle_deg=75),
        "array of numbers",
    ),
    (
        "angles that do not match",
        lambda: working_angles(face_tooth_deg=[60, 70], internal_angle_deg=[70, 75, 80]),
        "one shape",
    ),
    ("section along the edge", lambda: apparent_bevel_deg(75, turn_deg=90), "below 90"),
    ("outline of two corners", lambda: section_properties(SQUARE[:2]), "V of 3"),
    ("outline in space", lambda: section_properties(np.zeros((4, 3))), "V of 3"),
    ("outline with a gap", lambda: section_properties([*SQUARE[:3], [NAN, 1]]), "finite"),
    ("outline that is a line", lambda: section_properties([[0, 0], [1, 1], [2, 2]]), "area"),
    ("moment of one number", lambda: bending_stress_mpa(SQUARE, 3.0), "about x and y"),
    ("moments that do not match", lambda: bending_stress_mpa([SQUARE] * 3, np.ones((2, 2))), "one"),
    ("load negative", lambda: contact(load_n_per_mm=-1.0), "0 or more"),
    ("no stroke", lambda: contact(stroke_mm=0.0), "above 0"),
    ("wear coefficient not a number", lambda: contact(wear_coefficient=NAN), "finite"),
    ("strokes falling", lambda: wear(strokes=[10, 0]), "does not fall"),
    ("no strokes", lambda: wear(strokes=[]), "does not fall"),
    ("contact as a load", lambda: wear(contact=2.5), "LineContact"),
    ("a billion points", lambda: gaussian_heights(0.1, 10**9), "or less"),
    ("a billion sections", lambda: roughness(X, Z, sections=10**9), "or less"),
    (
        "profile of a million cut-offs",
        lambda: roughness(np.arange(100_000.0), np.zeros(100_000), cutoff_um=2.0),
        "cut-offs in the profile",
    ),
    ("strokes negative", lambda: wear(strokes=[-1.0]), "0 or more"),
    ("strokes without end", lambda: wear(strokes=[1e9]), "too many steps"),
    ("edge line without points", lambda: wear(heights_um=[]), "hold a height"),
    ("edge of no radius", lambda: wear(sharp_radius_um=0.0), "above 0"),
    ("edge of no angle", lambda: wear(internal_angle_deg=0.0), "between 0 and 180"),
    ("no points of the line", lambda: gaussian_heights(0.1, 0), "1 or more"),
    ("stroke sense as text", lambda: wire_edge("away"), "StrokeSense"),
    ("wire edge as a size", lambda: wire_edge(StrokeSense.AWAY, observed=3), "no size"),
]


@pytest.mark.parametrize(("call", "words"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_bad_input_is_refused_with_what_value_and_remedy(call, words):
    with pytest.raises(EdgekitError) as caught:
        call()
    assert words in str(caught.value)
    assert caught.value.what
    assert caught.value.remedy.endswith(".")


def test_good_input_beside_each_bad_one_is_accepted():
    assert grain_um("FEPA-P", 1000.0) == 18.3
    assert contact() == default_contact()
    assert wear().strokes.tolist() == [0.0, 10.0]
    assert stone(median_um=3.0).grain_um == 3.0
    assert roughness(X, Z, cutoff_um=2500.0).sections == 1
    assert section_properties(SQUARE).area_mm2 == pytest.approx(1.0)
