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
    "freehand, local strokes": ek.LifeCase(
        blade=ek.patterns.universal_curette,
        method=ek.methods.freehand(stroke=ek.strokes.local()),
        **SIZE,
    ),
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
    7: {
        "freehand": [
            132.0,
            78.05214148,
            78.75957566,
            77.82416437,
            78.00131109,
            78.33094897,
            65.40223206,
            18.57058641,
            19.95591674,
            4.998963517,
            2.413406782,
            68.50550868,
            0.5324563439,
            0.05682408031,
            0.03502479729,
            18.85569173,
            16.09509144,
            20.83175229,
            20.08940612,
            146.4535622,
            0.4406074663,
        ],
        "freehand, local strokes": [
            28.0,
            174.8513744,
            271.0669402,
            148.9449042,
            163.1930849,
            212.4161341,
            157.297611,
            7.684244395,
            14.94655253,
            5.0,
            10.76096572,
            644.5724287,
            4.267445034,
            0.5475241582,
            0.0,
            11.76713809,
            8.552434435,
            10.01046818,
            16.77142473,
            201.054882,
            3.719920876,
        ],
        "bench stone": [
            118.0,
            35.94886013,
            43.17729987,
            35.87620173,
            35.8231101,
            36.14726855,
            20.53689366,
            5.409827816,
            11.70576958,
            4.991039236,
            5.497395967,
            249.8046976,
            1.94687151,
            0.0545263875,
            0.06601294809,
            11.63699298,
            8.51620757,
            9.911357488,
            16.51640914,
            201.0577733,
            1.826332175,
        ],
        "sides and face": [
            116.0,
            36.29628732,
            37.83356775,
            36.62039769,
            36.14220463,
            36.12625965,
            14.12687497,
            3.949182509,
            7.472966186,
            4.991959229,
            6.142537151,
            172.1221045,
            1.317309495,
            0.8183797567,
            0.04182127154,
            11.66296272,
            8.525707429,
            9.958511525,
            16.53119299,
            200.0699379,
            0.4571084669,
        ],
        "powered, patchy use, strength": [
            74.0,
            43.74759145,
            45.31391584,
            43.61515235,
            43.62733964,
            44.00028236,
            15.90560783,
            3.105000949,
            4.498247736,
            4.995339289,
            1.895203907,
            59.28058608,
            0.9326021586,
            0.08603913859,
            0.1056625529,
            14.88025611,
            10.64686274,
            12.56270613,
            21.48891042,
            126.7508101,
            0.7409004671,
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
