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
    3: {
        "freehand": [
            123.0,
            84.89689635,
            85.96176326,
            85.396273,
            84.68751641,
            84.60689964,
            49.63145609,
            17.28249344,
            18.96313915,
            5.0,
            2.965088423,
            109.8816317,
            0.5794411714,
            0.1030683602,
            0.02706517117,
            25.9360939,
            21.95061295,
            28.78097988,
            27.72650528,
            88.9998861,
            0.44930764,
        ],
        "bench stone": [
            89.0,
            51.12115557,
            61.02917439,
            51.04336834,
            51.04935961,
            51.27073877,
            22.56223243,
            5.537165321,
            11.86954278,
            4.930317773,
            9.528214024,
            552.1160518,
            2.743725156,
            0.161173919,
            0.05236968335,
            15.48059396,
            10.87141454,
            13.02175753,
            22.62012339,
            135.0654526,
            2.530181554,
        ],
        "sides and face": [
            96.0,
            49.13799598,
            51.04484334,
            49.26275945,
            49.40003038,
            48.75119812,
            14.81058607,
            3.751274884,
            7.857619883,
            4.992818324,
            7.917944039,
            302.2263698,
            1.53783701,
            0.886382404,
            0.03633079449,
            15.47519671,
            10.84123013,
            13.01196692,
            22.61495662,
            134.3186687,
            0.6151238119,
        ],
        "powered, patchy use, strength": [
            60.0,
            57.54564446,
            58.76487652,
            57.77105126,
            57.95466529,
            56.91121684,
            19.01260475,
            2.031097472,
            4.057755798,
            4.984007066,
            2.278925519,
            116.8388278,
            1.21357518,
            0.1913438745,
            0.09407973772,
            20.06541235,
            13.79752933,
            16.76088964,
            29.71502474,
            77.04759594,
            0.9281515674,
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
