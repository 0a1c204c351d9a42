"""A tray list to plan and sheet, from the demo files alone; the pictures by their data."""

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

import edgekit as ek
from edgekit.errors import EdgekitError
from edgekit.geometry.blade import BladeClass

DEMO = "data_demo"


@pytest.fixture(scope="module")
def tray():
    return ek.read_tray(f"{DEMO}/tray_FH-03.csv")


@pytest.fixture(scope="module")
def result():
    log = ek.read_log(f"{DEMO}/log_messy.csv", day_first=True)
    return ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.2))


def test_tray_of_the_demo_is_read_in_order_and_fits_its_log(tray, result):
    assert [code.rsplit("-", 1)[1] for code in tray] == [
        "UC",
        "AS1",
        "AS2",
        "AS3",
        "HL",
        "SS",
        "CS",
        "HO",
    ]
    assert tray["FH-03-HO"].kind is BladeClass.HOE
    assert tray["FH-03-AS1"].trace is not None
    keys = {(code, edge) for code, blade in tray.items() for edge in blade.edges}
    assert keys <= set(zip(result.table["instrument"], result.table["edge"], strict=True))


def test_from_messy_log_and_tray_list_to_plan_sheet_and_list(tray, result, tmp_path):
    plan = ek.plan_bench(tray, tolerance_deg=4, urgent=["FH-03-AS1"], minutes_available=60)
    assert plan.edges["planned"].all()
    assert ek.setting_sheet(plan, tmp_path / "tray.html").stat().st_size > 10_000
    live = result.table[result.table["status"] == "in use"]
    due = live[live["sessions_left_low"] < 1]
    assert len(due)
    one = due.iloc[0]
    rows = ek.source_rows(result, one["instrument"], one["edge"], "sessions_left")
    read = rows[rows["part"] == "own reading"]
    with open(f"{DEMO}/log_messy.csv", encoding="utf-8-sig") as file:  # noqa: PTH123
        lines = file.read().splitlines()
    for row in read.itertuples():
        text = lines[row.line - 1]
        assert one["instrument"] in text
        assert f"{row.width_mm:.3f}" in text.replace(",", ".")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "instrument\nA\n",
        "instrument,blade\nA,spoon\n",
        "instrument,blade\nA,hoee\n",
        "instrument,blade\n,hoe\n",
        "instrument,blade\nA,hoe\nA,hoe\n",
        "instrument,blade\nA,missing.toml\n",
        "instrument,blade\n007,hoe\n",
    ],
)
def test_spoiled_tray_lists_are_refused(tmp_path, text):
    path = tmp_path / "tray.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(EdgekitError):
        ek.read_tray(path)


def test_numbers_for_codes_stay_text(tmp_path):
    path = tmp_path / "tray.csv"
    path.write_text('"instrument","blade"\n"007","hoe"\n', encoding="utf-8")
    assert list(ek.read_tray(path)) == ["007"]


def test_picture_of_windows_has_every_window_and_setting(tray):
    plan = ek.plan_bench(tray, tolerance_deg=4)
    before = dict(mpl.rcParams)
    ax = ek.figures.windows(plan)
    assert dict(mpl.rcParams) == before
    bars = np.array(ax.collections[0].get_segments())[:, :, 0]
    error = np.array([-1.0, 1.0]) * plan.setting_error_deg  # kept off both ends of a window
    asked = np.concatenate([a.common_deg + error for a in plan.requirements])
    assert np.allclose(np.sort(bars, axis=0), np.sort(asked, axis=0))
    dashed = [line.get_xdata()[0] for line in ax.lines if line.get_linestyle() == "--"]
    assert np.allclose(sorted(dashed), sorted(plan.settings["elevation_deg"]))
    circles = [line for line in ax.lines if line.get_marker() == "o"]
    assert sum(len(line.get_xdata()) for line in circles) == len(asked)
    assert "bars are disjoint" in ek.figures.alt_text(ax)


def test_picture_of_readings_has_the_readings_and_the_forecast(result):
    ax = ek.figures.readings(result, "FH-11-AS1", "used")
    dots = next(line for line in ax.lines if line.get_marker() == "o" and len(line.get_xdata()) > 1)
    rows = result.log.rows
    own = rows[(rows["instrument"] == "FH-11-AS1") & rows["width_mm"].notna()]
    assert np.allclose(dots.get_ydata(), own["width_mm"])
    row = result.table[result.table["instrument"] == "FH-11-AS1"].iloc[0]
    # the blue line passes through the estimated width on the day of the forecast
    x, y = ax.lines[0].get_data()
    assert np.isclose(np.interp(row["sessions"], x, y), row["width_mm"])
    assert f"{row['loss_um_per_session']:.1f} µm" in ek.figures.alt_text(ax)


def test_picture_of_what_is_due_is_in_order(result):
    ax = ek.figures.due(result, max_edges=6)
    live = result.table[result.table["status"] == "in use"].sort_values(
        ["sessions_left", "sessions_left_high"]  # of equals, the one that is surely gone first
    )
    names = [label.get_text() for label in ax.get_yticklabels()]
    assert names == [f"{r.instrument} {r.edge}" for r in live.head(6).itertuples()]


def test_picture_of_the_year_has_its_months(result):
    year = ek.budget(result, prices=ek.read_prices(f"{DEMO}/prices.csv"), months=5)
    ax = ek.figures.replacements(year)
    assert len(ax.patches) == 5
    assert np.allclose([bar.get_height() for bar in ax.patches], year.months["replacements"])


def test_the_sheet_shown_is_the_page_itself_and_small(tray, tmp_path):
    plan = ek.plan_bench(tray, tolerance_deg=4)
    shown = ek.figures.sheet(plan, title="Tray")
    path = ek.setting_sheet(plan, tmp_path / "tray.html", title="Tray")
    assert shown.html == path.read_text(encoding="utf-8")
    assert len(shown._repr_html_()) < 160_000
    assert "11 edges" in shown.alt


def test_pictures_without_anything_to_show_say_so(result):
    with pytest.raises(EdgekitError):
        ek.figures.readings(result, "FH-99-XX", "used")
    gone = ek.read_log(
        pd.DataFrame(
            {
                "instrument": "A",
                "edge": "left",
                "date": ["2025-01-06", "2025-02-03"],
                "event": ["measured", "retired"],
                "width_mm": [0.86, None],
            }
        )
    )
    with pytest.raises(EdgekitError):
        ek.figures.due(ek.forecast(gone, retire=ek.MaxWidthLoss(fraction=0.2)))
    steep = ek.patterns.universal_curette(internal_angle_deg=85)
    with pytest.raises(EdgekitError):
        ek.figures.windows(ek.plan_bench([steep]))
