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
    1: {
        "freehand": [
            72.0,
            152.0319659,
            158.3999035,
            93.75278756,
            19.14939494,
            19.88336602,
            5.0,
            4.924219472,
            0.9812607943,
            37.83183189,
        ],
        "bench stone": [
            24.0,
            204.7936144,
            269.4173965,
            120.5087559,
            -1.285459707,
            9.865350593,
            5.0,
            43.59242494,
            12.69076943,
            37.83183189,
        ],
        "sides and face": [
            38.0,
            122.3176194,
            145.6045467,
            39.25420207,
            -0.8938664888,
            7.715582419,
            4.997433575,
            14.81765326,
            3.764409456,
            37.83866936,
        ],
        "powered, patchy use, strength": [
            32.0,
            113.1038876,
            165.1212193,
            192.5321915,
            -1.258059733,
            4.880384919,
            5.0,
            2.774227263,
            2.825176366,
            37.37814459,
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
