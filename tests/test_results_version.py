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
    5: {
        "freehand": [
            143.0,
            71.74740598,
            72.9379324,
            71.19643512,
            71.64021915,
            72.40556368,
            59.06165828,
            17.03505479,
            18.89357343,
            4.997826477,
            2.361016684,
            64.57625133,
            0.5015648665,
            0.05937254896,
            0.03440816348,
            18.76897494,
            16.02734364,
            20.74871747,
            19.97758764,
            146.4628518,
            0.4077841541,
        ],
        "bench stone": [
            126.0,
            33.40164909,
            40.16112667,
            33.10978359,
            33.03300052,
            34.06216316,
            18.8550442,
            5.170498657,
            11.74315529,
            4.992463446,
            5.350748142,
            238.8061107,
            1.861322093,
            0.05646970455,
            0.06522462576,
            11.62775142,
            8.50831151,
            9.914535278,
            16.49478973,
            200.9627183,
            1.739627762,
        ],
        "sides and face": [
            118.0,
            35.53728873,
            36.74739644,
            35.83956711,
            35.70831615,
            35.06398294,
            12.83771401,
            3.162652898,
            7.207325519,
            4.992054726,
            6.057757132,
            164.7832899,
            1.260934942,
            0.8159525535,
            0.04372436914,
            11.63528741,
            8.495131868,
            9.933322076,
            16.50214483,
            199.5754349,
            0.4012580192,
        ],
        "powered, patchy use, strength": [
            73.0,
            43.67824703,
            44.6328984,
            43.9236402,
            43.90271067,
            43.20839022,
            14.23838961,
            2.343928098,
            4.338444996,
            4.994806625,
            1.868628409,
            55.29426129,
            0.8706684797,
            0.09007677038,
            0.1116819741,
            14.85298464,
            10.62401484,
            12.54189136,
            21.4440539,
            126.7676211,
            0.6689097353,
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
