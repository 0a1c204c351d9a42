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
            92.79348957,
            96.00388278,
            20.01792723,
            1.970829813,
            8.796106838,
            4.989707869,
            11.36215518,
            556.1189314,
            2.767632228,
            1.897034011,
            0.03894517158,
            37.6473454,
            39.63739004,
            0.8316530455,
        ],
        "powered, patchy use, strength": [
            34.0,
            101.9911834,
            104.4476476,
            26.6624915,
            3.241889774,
            4.913849412,
            4.988959963,
            3.022666667,
            228.4,
            2.301155077,
            0.657026597,
            0.08485670374,
            37.0336299,
            39.73218702,
            1.559271777,
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
