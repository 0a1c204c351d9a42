"""Counts of sessions, ends and pace, written out by hand for small logs.

Sources: arithmetic in the tests; the gamma-Poisson mean is the textbook conjugate update.
"""

import numpy as np
import pandas as pd

from edgekit.clinic.forecasting.session_rate import pace
from edgekit.clinic.log.history import history
from edgekit.clinic.log.log import read_log

COLUMNS = ["instrument", "edge", "date", "event", "width_mm", "method", "pattern"]


def _history(rows):
    return history(read_log(pd.DataFrame(rows, columns=COLUMNS)))


def _row(code, edge, day, event, width=None, method="", pattern=""):
    return (code, edge, f"2025-{day}", event, width, method, pattern)


def test_sessions_are_counted_for_every_edge_with_any_first_event():
    past = _history(
        [
            _row("A", "left", "01-06", "sharpened", method="held"),
            _row("A", "left", "01-07", "measured", 0.86),
            _row("B", "", "01-06", "measured", 0.80),
            _row("B", "", "01-07", "sharpened", 0.79, method="held"),
            _row("B", "", "01-08", "sharpened", method="freehand"),
            _row("B", "", "01-09", "sharpened", method="freehand"),
            _row("B", "", "01-09", "measured", 0.77),
        ]
    )
    assert past.reading_edge.tolist() == [0, 1, 1, 1]
    assert past.reading_sessions.tolist() == [1, 0, 1, 3]
    assert np.allclose(past.reading_um, [860, 800, 790, 770])
    assert past.edges["sessions"].tolist() == [1, 3]
    assert past.edges["edge"].tolist() == ["left", "edge"]
    assert past.edges["method"].tolist() == ["held", "freehand"]


def test_rows_in_any_order_give_the_same_history():
    rows = [
        _row(
            "A",
            "left",
            f"0{m}-06",
            "sharpened" if m % 2 else "measured",
            None if m % 2 else 0.9 - m / 100,
        )
        for m in range(1, 9)
    ]
    one, two = _history(rows), _history(rows[::-1])
    assert one.reading_sessions.tolist() == two.reading_sessions.tolist() == [1, 2, 3, 4]
    assert np.array_equal(one.reading_um, two.reading_um)


def test_row_without_an_edge_counts_for_every_edge_but_gives_no_width_to_any():
    past = _history(
        [
            _row("A", "left", "01-06", "measured", 0.86),
            _row("A", "right", "01-06", "measured", 0.85),
            _row("A", "", "02-06", "sharpened"),
            _row("A", "", "02-07", "measured", 0.5),
            _row("A", "", "03-06", "retired"),
            _row("B", "used", "01-06", "measured", 0.8),
            _row("B", "", "02-06", "measured", 0.79),
            _row("B", "", "04-01", "used"),
        ]
    )
    assert past.edges["sessions"].tolist() == [1, 1, 0]
    assert past.edges["readings"].tolist() == [1, 1, 2]
    assert past.edges["status"].tolist() == ["retired", "retired", "in use"]
    assert past.edges["ended"].isna().tolist() == [False, False, True]
    assert past.edges["uses"].tolist() == [0, 0, 1]
    assert past.as_of == np.datetime64("2025-04-01")


def test_pace_is_drawn_from_each_edge_towards_the_clinic():
    rows = []
    for code, gap in (("A", 10), ("B", 20), ("C", 40)):
        days = pd.date_range("2025-01-01", "2025-06-29", freq=f"{gap}D")
        rows += [(code, "used", day, "sharpened", None, "", "") for day in days]
        rows.append((code, "used", pd.Timestamp("2025-06-30"), "used", None, "", ""))
    # an instrument seen for ten days only has little to say of its own
    rows += [
        ("D", "used", pd.Timestamp(day), "sharpened", None, "", "")
        for day in ("2025-06-20", "2025-06-22", "2025-06-24")
    ]
    past = _history(rows)
    own = past.edges["sessions"].to_numpy() / np.array([180, 180, 180, 10])
    speed = pace(past)
    mean = past.edges["sessions"].sum() / 550
    drawn = (speed.per_day - own) / (mean - own)
    assert (drawn > 0).all()
    assert (drawn < 1).all()
    assert drawn[3] == drawn.max() > 4 * drawn[0]
    assert (speed.sd > 0).all()
    weight = drawn[0] / (1 - drawn[0]) * 180
    assert np.allclose(drawn, weight / (weight + np.array([180, 180, 180, 10])), rtol=1e-9)


def test_pace_of_a_log_without_sessions_is_that_of_the_evidence_table():
    speed = pace(_history([_row("A", "used", "01-06", "measured", 0.8)]))
    assert np.allclose(speed.per_day * 365.25, 12)
