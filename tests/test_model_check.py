"""The model compared with the log, and the source rows of numbers.

Sources: the product of two normal densities, integrated on a grid, for the updated loss; the
model's own `compare` asked separately; the rows of a small log counted by hand.
"""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import edgekit as ek
from edgekit.clinic.forecasting.provenance import PARTS
from edgekit.errors import EdgekitError
from tests.wear_blades import in_steps

GRID_UM = 1e-3
"""Of the integration, whose step is 0.001 µm."""
METHODS = {"held": ek.methods.held(55.0, placements=60), "freehand": in_steps(4, placements=8)}
RUNS = 20


def rows(code, loss_mm, method, seed, readings=5, pattern="hoe"):
    rng = np.random.default_rng(seed)
    days = pd.date_range("2025-01-06", periods=2 * readings - 1, freq="14D")
    width = 1.5 - loss_mm * np.arange(readings) + rng.normal(0, 0.004, readings)
    return pd.DataFrame(
        {
            "instrument": code,
            "edge": "edge",
            "pattern": pattern,
            "date": days,
            "event": ["measured", "sharpened"] * (readings - 1) + ["measured"],
            "method": ["", method] * (readings - 1) + [""],
            "width_mm": np.insert(width, np.arange(1, readings), np.nan),
        }
    )


@pytest.fixture(scope="module")
def result():
    many = [rows(f"H-{n}", 0.007, "held", n) for n in range(6)]
    many += [rows(f"F-{n}", 0.012, "freehand", 50 + n) for n in range(6)]
    many += [rows("X-1", 0.010, "unheard of", 99), rows("X-2", 0.010, "held", 98, pattern="spoon")]
    used = pd.DataFrame(
        {
            "instrument": ["H-0", "H-0", "F-0"],
            "edge": ["edge", "edge", ""],
            "pattern": "hoe",
            "date": pd.to_datetime(["2025-01-10", "2025-01-31", "2025-01-10"]),
            "event": "used",
            "method": "",
            "width_mm": np.nan,
        }
    )
    log = ek.read_log(pd.concat([*many, used], ignore_index=True))
    return ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.2))


@pytest.fixture(scope="module")
def check(result):
    return ek.compare_with_model(result, methods=METHODS, seed=3, runs=RUNS)


def test_models_loss_is_that_of_compare(result, check):
    for name, method in METHODS.items():
        row = check.groups[
            (check.groups["method"] == name) & (check.groups["pattern"] == "hoe")
        ].iloc[0]
        alone = ek.compare(ek.patterns.hoe(), [method], runs=RUNS, seed=3).table.iloc[0]
        assert row["model_um_per_session"] == alone["loss_um_per_session"]
        sd = np.hypot(alone["loss_um_per_session_sd"], alone["loss_um_per_session_mc"])
        z = stats.norm.ppf(0.95)
        assert np.isclose(row["model_um_per_session_high"], row["model_um_per_session"] + z * sd)
    assert list(check.table["instrument"]) == list(result.table["instrument"])


def test_updated_loss_is_the_product_of_both_densities(result, check):
    z = stats.norm.ppf(0.95)
    at = np.arange(-100, 200, 0.001)
    for n in (0, 7):
        row = check.table.iloc[n]
        sd_model = (row["model_um_per_session_high"] - row["model_um_per_session"]) / z
        density = stats.norm.logpdf(at, row["model_um_per_session"], sd_model)
        density += stats.norm.logpdf(at, row["loss_um_per_session"], result.loss_sd_um[n])
        weight = np.exp(density - density.max())
        weight /= weight.sum()
        mean = weight @ at
        sd = np.sqrt(weight @ (at - mean) ** 2)
        assert np.isclose(row["updated_um_per_session"], mean, atol=GRID_UM)
        assert np.isclose(row["updated_um_per_session_low"], mean - z * sd, atol=2 * GRID_UM)
        gap = row["loss_um_per_session"] - row["model_um_per_session"]
        assert np.isclose(row["surprise"], gap / np.hypot(sd_model, result.loss_sd_um[n]))


def test_sessions_left_at_the_updated_loss_use_up_the_margin(check):
    table = check.table
    margin = (table["width_mm"] - table["limit_mm"]) * 1e3
    assert np.allclose(table["updated_sessions_left"] * table["updated_um_per_session"], margin)


def test_groups_without_a_model_say_so_and_keep_the_log(check):
    none = check.groups[check.groups["model"] == "no model given"]
    assert set(zip(none["pattern"], none["method"], strict=True)) == {
        ("hoe", "unheard of"),
        ("spoon", "held"),
    }
    assert none["model_um_per_session"].isna().all()
    assert (none["updated_um_per_session"] == none["loss_um_per_session"]).all()
    assert check.table["updated_um_per_session"].notna().all()


def test_two_edges_share_the_models_loss_unless_the_width_is_shared():
    log = ek.read_log(rows("U-1", 0.006, "held", 4, pattern="universal curette"))
    result = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.2))
    methods = {"held": ek.methods.held(15.0, placements=60)}
    own = ek.compare_with_model(result, methods=methods, seed=1, runs=RUNS).groups.iloc[0]
    both = ek.compare_with_model(result, methods=methods, seed=1, runs=RUNS, edges_share_width=True)
    assert np.isclose(both.groups["model_um_per_session"][0], 2 * own["model_um_per_session"])


def test_low_loss_in_the_log_lowers_the_dull_radius(check):
    dull = check.inputs[check.inputs["input"] == "dull_radius_um"]
    joined = dull.merge(check.groups, on=["pattern", "method"])
    lower = joined["loss_um_per_session"] < joined["model_um_per_session"]
    assert len(joined)
    assert ((joined["after"] < joined["before"]) == lower).all()
    assert ((joined["removed"] >= 0) & (joined["removed"] <= 1)).all()


def test_method_may_be_a_function_of_the_blade(result):
    seen = []

    def held(blade):
        seen.append(blade.name)
        return METHODS["held"]

    ek.compare_with_model(result, methods={"held": held}, seed=1, runs=RUNS)
    assert seen == ["hoe"]


def test_a_log_without_any_model_is_refused(result):
    with pytest.raises(EdgekitError, match="no pattern and method"):
        ek.compare_with_model(result, methods={"polished": METHODS["held"]}, seed=1, runs=RUNS)
    with pytest.raises(EdgekitError):
        ek.compare_with_model(result, methods=METHODS, seed=1, runs=5)


def test_tables_come_back_from_csv_and_reports_escape(check, result, tmp_path):
    for name in ("table", "groups", "inputs"):
        table = getattr(check, name)
        ek.write_table(table, tmp_path / f"{name}.csv")
        assert list(ek.read_table(tmp_path / f"{name}.csv").columns) == list(table.columns)
    ek.write_table(ek.source_rows(result, "F-0", "edge", "retire_on"), tmp_path / "r.csv")
    assert "<" not in check._repr_html_().removeprefix("<p>").removesuffix("</p>")


def test_source_rows_of_a_loss_are_the_edges_own_its_groups_and_the_others(result):
    source = ek.source_rows(result, "H-0", "edge", "loss_um_per_session_low")
    count = source["part"].value_counts()
    # five readings and four sessions an edge; six held hoes; six freehand ones and two strangers
    assert count.to_dict() == {
        "own reading": 5,
        "own session": 4,
        "group": 5 * 9,
        "spread": 8 * 9,
    }
    own = source[source["part"] == "own reading"]
    given = result.log.rows
    lines = given[(given["instrument"] == "H-0") & (given["event"] == "measured")]["line"]
    assert own["line"].tolist() == lines.tolist()


def test_source_rows_of_the_limit_are_the_first_reading_alone(result):
    source = ek.source_rows(result, "H-3", "edge", "limit_mm")
    assert source["part"].tolist() == ["own reading"]
    row = result.table[result.table["instrument"] == "H-3"].iloc[0]
    assert np.isclose(0.8 * source["width_mm"][0], row["limit_mm"])


def test_source_rows_of_a_date_add_pace_and_last_date(result):
    parts = set(ek.source_rows(result, "H-0", "edge", "retire_on_high")["part"])
    assert {"pace", "last date", "own session"} <= parts
    assert "own use" in set(ek.source_rows(result, "H-0", "edge", "loss_um_per_use")["part"])


def test_changing_a_row_outside_the_source_rows_does_not_change_it(result):
    table = result.log.rows.drop(columns="line")
    sources = set(ek.source_rows(result, "H-0", "edge", "sessions_left")["line"])
    other = ~result.log.rows["line"].isin(sources)
    assert other.any()
    changed = table.copy()
    changed.loc[other, "event"] = "checked"
    again = ek.forecast(ek.read_log(changed), retire=ek.MaxWidthLoss(fraction=0.2))
    one, two = (r.table.set_index("instrument").loc["H-0"] for r in (result, again))
    assert one["sessions_left"] == two["sessions_left"]


def test_refused_lines_of_the_instrument_are_named():
    given = rows("H-1", 0.007, "held", 1).astype({"date": str})
    spoiled = given.copy()
    spoiled.loc[1, "event"] = "polished up"
    result = ek.forecast(ek.read_log(spoiled), retire=ek.MaxWidthLoss(fraction=0.2))
    source = ek.source_rows(result, "H-1", "edge", "sessions")
    refused = source[source["part"] == "refused"]
    assert refused["line"].tolist() == result.log.rejected_lines["line"].tolist()


def test_every_number_of_the_table_has_rows(result):
    words = {"instrument", "edge", "pattern", "method", "growth", "message"}
    stems = {c.removesuffix("_low").removesuffix("_high") for c in result.table.columns} - words
    assert stems == set(PARTS)
    for stem in stems - {"status"}:
        assert len(ek.source_rows(result, "F-0", "edge", stem))


@pytest.mark.parametrize(
    ("instrument", "edge", "column"),
    [("H-99", "edge", "width_mm"), ("H-0", "left", "width_mm"), ("H-0", "edge", "message")],
)
def test_edges_and_columns_that_are_not_there_are_refused(result, instrument, edge, column):
    with pytest.raises(EdgekitError):
        ek.source_rows(result, instrument, edge, column)


def test_what_is_not_a_forecast_is_refused_with_the_call_that_makes_one(result):
    with pytest.raises(EdgekitError, match=r"ek\.forecast"):
        ek.source_rows(result.log, "H-0", "edge", "width_mm")
    with pytest.raises(EdgekitError, match=r"ek\.forecast"):
        ek.compare_with_model(result.table, methods=METHODS, seed=1)
    with pytest.raises(EdgekitError, match="runs must be 100,000 or less"):
        ek.compare_with_model(result, methods=METHODS, seed=1, runs=10**9)
