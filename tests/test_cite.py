"""What a result says about what made it."""

import edgekit as ek
from tests.results import results


def test_a_paragraph_names_versions_seed_and_inputs():
    made = f"edgekit {ek.__version__} (results {ek.RESULTS})"
    comparison, forecast, life = (results()[n] for n in ("Comparison", "Forecast", "Life"))
    for result in (comparison, forecast, life):
        text = result.cite()
        assert made in text
        assert "\n" not in text
        assert text.endswith(".")
        assert " object at 0x" not in text
    assert comparison.cite() == (
        f"4 simulated lives per method, computed with {made}, seed 1, from blade: "
        f"{comparison.blade!r}; methods: freehand, moving stone, local strokes, face honing; use: "
        f"{ek.Use()}; retired by: 20 % of the width gone (mean along the sides), only 75 % of the "
        "length left, 20 % of the thickness gone; nodes: 16 stations, 4 depths."
    )
    assert "log.csv, 7255 rows up to 2025-12-28, 0 lines refused" in forecast.cite()
    assert "90% intervals" in forecast.cite()
    assert "20 % of the width gone" in life.cite()


def test_another_seed_or_use_is_another_paragraph():
    def cited(seed, use):
        grid = ek.full_grid({"use.strokes": [20.0]})
        method, quick = ek.methods.freehand(), {"runs": 2, "seed": seed}
        case = ek.LifeCase(blade=ek.patterns.hoe, method=method, use=use, stations=8, depths=4)
        swept = ek.sweep(case, grid, progress=False, **quick).attrs["cite"]
        hoe = ek.patterns.hoe()
        return ek.compare(hoe, [method], use=use, stations=8, depths=4, **quick).cite(), swept

    first, other, third = cited(1, ek.Use()), cited(2, ek.Use()), cited(1, ek.Use(strokes=9))
    assert len({*first, *other}) == 4
    assert first[0] != third[0]
    assert first[1] != third[1]
