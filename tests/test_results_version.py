"""Guards the version of the model's results, which a sweep's folder is resumed by.

When a result below moves, a folder begun before the change must not be finished by the code after
it: raise ``RESULTS`` in ``edgekit/study/manifest.py``, and replace the sums here by those that
``python -m tests.test_results_version`` prints. They were computed by the package itself and say
only whether results moved.
"""

import numpy as np
import pytest

import edgekit as ek
from edgekit.study.manifest import RESULTS
from edgekit.study.outcomes import VALUES

LIBRARIES = 1e-6  # relative: other processors and library versions round differently
COLUMNS = ("sessions", *VALUES)
SIDES_AND_FACE = ek.mixture(ek.methods.held(15.0), ek.methods.face_honing(), sides=2, faces=1)
SIZE = {"stations": 24, "depths": 4}
CASES = {
    "freehand": ek.LifeCase(blade=ek.patterns.hoe, method=ek.methods.freehand(), **SIZE),
    "bench stone": ek.LifeCase(
        blade=ek.patterns.curved_sickle, method=ek.methods.bench_stone(), **SIZE
    ),
    "sides and face": ek.LifeCase(
        blade=ek.patterns.universal_curette, method=SIDES_AND_FACE, **SIZE
    ),
    "powered, patchy use, strength": ek.LifeCase(
        blade=ek.patterns.area_specific_curette,
        method=ek.methods.powered(),
        use=ek.Use(patch_cv=0.5, attrition_um=2.0),
        retire=(ek.MinStrength(),),
        **SIZE,
    ),
}
# Sums over five lives of every column of `COLUMNS`, for each version of the results.
STORED = {
    2: {
        "freehand": [
            95.0,
            113.2490082,
            114.2731986,
            53.36902896,
            17.22315601,
            19.06746089,
            4.996428376,
            3.522593074,
            151.6944805,
            0.781346236,
            0.1967342662,
            0.02561296656,
            37.62305938,
            39.75391422,
            0.5589990033,
        ],
        "bench stone": [
            43.0,
            101.5479351,
            123.3538401,
            33.90757587,
            5.77732401,
            11.64885075,
            4.702521597,
            17.75857239,
            1169.392929,
            5.665625748,
            1.500630926,
            0.03998933565,
            38.60354685,
            38.65259058,
            4.125005486,
        ],
        "sides and face": [
            52.0,
            92.18727634,
            94.31955604,
            17.68818206,
            2.059993233,
            8.486802595,
            4.99002557,
            11.32943789,
            553.8636859,
            2.719891123,
            1.906637836,
            0.03064823091,
            37.64694038,
            39.6381324,
            0.7826050559,
        ],
        "powered, patchy use, strength": [
            38.0,
            101.4588478,
            102.8498459,
            24.99899108,
            3.328029513,
            5.018862465,
            4.992254994,
            3.01018759,
            226.5281385,
            2.275935314,
            0.6654335405,
            0.09518871538,
            37.21094265,
            39.72529524,
            1.515313058,
        ],
    }
}


def sums(case):
    table = ek.sweep(
        CASES[case], ek.full_grid({"use.strokes": [45.0]}), runs=5, seed=3, progress=False
    )
    assert (table["status"] == "ok").all()
    return [float(table[name].sum()) for name in COLUMNS]


@pytest.mark.parametrize("case", CASES)
def test_results_move_only_with_their_version(case):
    assert RESULTS in STORED, f"store the sums of RESULTS {RESULTS} here: see the module's text"
    np.testing.assert_allclose(
        sums(case),
        STORED[RESULTS][case],
        rtol=LIBRARIES,
        err_msg="results moved: raise RESULTS in edgekit/study/manifest.py and store the new sums",
    )


if __name__ == "__main__":
    print({case: [float(f"{number:.10g}") for number in sums(case)] for case in CASES})
