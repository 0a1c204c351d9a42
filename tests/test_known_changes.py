"""Formulas of which a change once left every test green, each against arithmetic from outside.

The changes are listed in `tests.mutate.KNOWN`. Normal quantiles come from the standard library's
`statistics.NormalDist`; everything else is elementary and written out beside its check.
"""

from statistics import NormalDist

import numpy as np
import pandas as pd
import pytest

import edgekit as ek
from edgekit.clinic.forecasting.session_rate import pace
from edgekit.clinic.log.history import history
from edgekit.study.face_or_sides import ideal_sessions
from tests.results import DEMO

CLOSE = 1e-9  # relative: the same arithmetic in another order
FFT = 1e-9  # correlation on the grid's own points
SPLINE = 2e-3  # correlation between them, four grid points to a correlation length


@pytest.fixture(scope="module")
def log():
    return ek.read_log(DEMO / "log.csv")


def z_of(level):
    """Normal quantile of a two-sided level, from the standard library."""
    return NormalDist().inv_cdf((1 + level) / 2)


@pytest.mark.parametrize("level", [0.5, 0.9])
def test_losses_lie_so_many_standard_deviations_within_their_interval(log, level):
    result = ek.forecast(log, retire=ek.MaxWidthLoss(), level=level)
    for table, sd in ((result.table, result.loss_sd_um), (result.groups, result.groups_sd_um)):
        loss = table["loss_um_per_session"]
        for side, sign in (("low", -1), ("high", 1)):
            far = sign * (table[f"loss_um_per_session_{side}"] - loss) / sd
            # Student's quantile for hundreds of readings: just above the normal one.
            assert z_of(level) <= far.min()
            assert far.max() < 1.01 * z_of(level)


def one_instrument(code="K-1", days=(0, 30, 60, 90), losses_mm=(0.0, 0.02, 0.041, 0.06)):
    """Log of one instrument with one edge, measured after each session."""
    start = pd.Timestamp("2025-01-06")
    rows = []
    for day, lost in zip(days, losses_mm, strict=True):
        when = (start + pd.Timedelta(days=day)).strftime("%Y-%m-%d")
        if day:
            rows.append((code, "left", when, "sharpened", "", "held"))
        rows.append((code, "left", when, "measured", f"{0.86 - lost:.3f}", ""))
    names = ["instrument", "edge", "date", "event", "width_mm", "method"]
    return ek.read_log(pd.DataFrame(rows, columns=names))


@pytest.mark.parametrize(
    ("days", "name"),
    [
        ((0, 30, 60, 90, 120, 150), "clockwork"),
        ((0, 2, 60, 62, 150, 152, 300, 400), "irregular"),
        ((0, 1, 2, 3, 4, 5, 6, 400), "bursts"),
    ],
)
def test_irregularity_is_the_squared_coefficient_of_variation_of_the_gaps(days, name):
    lost = [0.001 * i for i in range(len(days))]
    found = pace(history(one_instrument(days=days, losses_mm=lost))).irregularity
    gaps = np.diff(days)[1:]  # the first day is that of the first reading
    wanted = np.var(gaps, ddof=1) / np.mean(gaps) ** 2
    held = {"clockwork": 0.05, "bursts": 5.0}.get(name, wanted)  # neither 0 nor without bound
    assert found == pytest.approx(held, rel=CLOSE)
    assert (wanted < 0.05, wanted > 5.0) == (name == "clockwork", name == "bursts")


def test_money_for_one_instrument_spreads_as_one_toss_of_a_coin():
    # A replacement with chance p costs P p on average and P √(p (1 − p)) in standard deviation.
    price = 40.0
    prices = ek.Prices(instrument={"": price}, session={"": 0.0}, minute=0.0, currency="EUR")
    result = ek.forecast(one_instrument(), retire=ek.MaxWidthLoss(fraction=0.12))
    plan = ek.budget(result, prices=prices, months=6)
    shares = [*plan.months["replacements"], plan.total["replacements"]]
    costs = [*plan.months["cost"], plan.total["cost"]]
    highs = [*plan.months["cost_high"], plan.total["cost_high"]]
    assert max(shares[:-1]) > 0.1  # else p (1 − p) and p (1 + p) are one
    assert shares[-1] < 1
    for p, cost, high in zip(shares, costs, highs, strict=True):
        assert cost == pytest.approx(price * p, rel=CLOSE)
        wanted = z_of(result.level) * price * np.sqrt(p * (1 - p))
        assert high - cost == pytest.approx(wanted, rel=1e-6)
    assert plan.costs["cost_high"].sum() == pytest.approx(highs[-1], rel=CLOSE)


@pytest.mark.parametrize(
    ("first", "limits"),
    [
        ("by_strength", {}),
        ("by_width", {"strength_fraction": 0.2, "thickness_fraction": 0.5}),
        ("by_thickness", {"strength_fraction": 0.2, "thickness_fraction": 0.02}),
    ],
)
def test_a_blade_is_done_when_the_first_of_its_limits_is_met(first, limits):
    table = ideal_sessions(
        ek.patterns.universal_curette(), face_share=[0.3, 0.6], dull_radius_um=4.0, **limits
    )
    names = ["by_width", "by_thickness", "by_strength"]
    assert table[names].idxmin(axis=1).tolist() == [first, first]
    assert table["sessions"].tolist() == table[first].tolist()


@pytest.mark.parametrize("make", [ek.patterns.hoe, ek.patterns.area_specific_curette])
@pytest.mark.parametrize("angle", [-60.0, -20.0, 20.0, 60.0])
def test_a_lay_turns_from_the_edge_towards_the_flank(make, angle):
    # Lateral surface along d = cosβ b − sinβ f: ψ > 0 runs down it to the toe.
    edge = next(iter(make().edges.values()))
    frame = edge.frame(np.array([edge.length_mm / 2]), order=0)
    beta = np.radians(edge.nominal_angle_deg)
    down = np.cos(beta) * frame.inward.value[0] - np.sin(beta) * frame.face.value[0]
    turn = np.radians(angle)
    direction = np.cos(turn) * frame.tangent.value[0] + np.sin(turn) * down
    found = ek.lay(edge, ek.StraightStroke(direction=direction), stations=3)
    assert found.lay_deg[1] == pytest.approx(angle, abs=1e-9)
    assert ek.lay(edge, ek.Oblique(angle_deg=angle), stations=3).lay_deg == pytest.approx(angle)


# Medians ds50 [µm] of the microgrits, in order: ISO 6344-3 (P), ISO 8486-2 (F); from memory.
MEDIANS = {
    "FEPA-P": {
        240: 58.5,
        280: 52.2,
        320: 46.2,
        360: 40.5,
        400: 35.0,
        500: 30.2,
        600: 25.8,
        800: 21.8,
        1000: 18.3,
        1200: 15.3,
        1500: 12.6,
        2000: 10.3,
        2500: 8.4,
    },
    "FEPA-F": {
        230: 53.0,
        240: 44.5,
        280: 36.5,
        320: 29.2,
        360: 22.8,
        400: 17.3,
        500: 12.8,
        600: 9.3,
        800: 6.5,
        1000: 4.5,
        1200: 3.0,
        1500: 2.0,
        2000: 1.2,
    },
}


@pytest.mark.parametrize("scale", MEDIANS)
def test_every_grade_has_the_median_of_its_standard(scale):
    from edgekit.method.grain import numbers

    assert {number: ek.grain_um(scale, number) for number in numbers(scale)} == MEDIANS[scale]


def test_a_survival_curve_counts_ends_and_those_at_risk_as_one_does_by_hand():
    # Lives 3+ (in use), 5, 5+, 7, 9: S = 1, 3/4, 3/4 · 1/2, 0; the band ends where no variance is.
    from edgekit.clinic.forecasting.survival import kaplan_meier

    curve = kaplan_meier([3, 5, 5, 7, 9], [False, True, False, True, True])
    assert curve["sessions"].tolist() == [3, 5, 7, 9]
    assert curve["at_risk"].tolist() == [5, 4, 2, 1]
    assert curve["ends"].tolist() == [0, 1, 1, 1]
    assert curve["survival"].tolist() == pytest.approx([1, 3 / 4, 3 / 8, 0])
    assert curve["survival_low"].iloc[[0, -1]].tolist() == [1, 0]
    assert curve["survival_high"].iloc[[0, -1]].tolist() == [1, 0]
    assert (curve["survival_low"] < curve["survival"])[1:3].all()


def test_a_survival_curve_of_instruments_all_in_use_is_1_with_a_band_of_nothing():
    from edgekit.clinic.forecasting.survival import kaplan_meier

    curve = kaplan_meier([3, 5], [False, False])
    for name in ("survival", "survival_low", "survival_high"):
        assert curve[name].tolist() == [1, 1]


def traced(bow_um, tmp_path):
    """A universal curette traced without noise, its planar face bowed by so much at the ends."""
    rows = ["curve,x_mm,y_mm,z_mm"]
    for name, edge in ek.patterns.universal_curette().edges.items():
        points = edge.frame(edge.stations(60), order=0).position
        far = points[:, 0] / np.abs(points[:, 0]).max()
        points = points + np.outer(far**2 * bow_um / 1e3, [0.0, 0.0, 1.0])
        rows += [f"{name},{x:.9f},{y:.9f},{z:.9f}" for x, y, z in points]
    (tmp_path / "b.csv").write_text("\n".join(rows))
    (tmp_path / "b.toml").write_text(
        'format = "edgekit blade 1"\nname = "b"\nkind = "universal curette"\nsource = "trace"\n'
        'points = "b.csv"\norder = "heel to toe"\nhandle_axis = [0.0, 0.0, -1.0]\n'
        "internal_angle_deg = 75.0\nthickness_mm = 0.71\n"
    )
    return ek.read_blade(tmp_path / "b.toml")


def test_a_face_is_planar_within_the_noise_of_digitising_however_smooth_the_points(tmp_path):
    # Nobody's instrument reads better than trace_noise_um, so points without noise say no more.
    assert traced(60.0, tmp_path).trace.edges["left"].noise_um < 5.0
    with pytest.raises(ek.EdgekitError, match="off a planar face"):
        traced(600.0, tmp_path)


def test_the_noise_of_a_trace_is_that_of_one_coordinate(tmp_path):
    # 10 µm in each direction, thrown on 120 points a time: the mean of the noise found is 10 µm
    # within four standard errors of a variance's root, 10/√(2 · 2 · 110) each.
    from edgekit.digitising.smoothing import smooth_curve

    chance = np.random.default_rng(5)
    turn = np.linspace(-0.6, 0.6, 120)
    arc = np.column_stack([7 * np.sin(turn), 7 * np.cos(turn), 0 * turn])
    found = [smooth_curve(arc + chance.normal(0, 0.01, arc.shape)).noise_um for _ in range(20)]
    assert np.mean(found) == pytest.approx(10.0, abs=4 * 10 / np.sqrt(440 * 20))


def test_the_pace_of_edges_alike_keeps_a_twentieth_of_doubt():
    # Conjugate gamma prior of a Poisson count, spread 5 %: a = 1/0.05², b = a/mean; after n
    # sessions in T days the mean is (a + n)/(b + T) and the deviation √(a + n)/(b + T).
    found = pace(history(one_instrument(days=(0, 30, 60), losses_mm=(0.0, 0.01, 0.02))))
    n, days = 2, 60
    a, mean = 1 / 0.05**2, n / days
    assert found.irregularity == 1.0  # fewer than three gaps say nothing of it
    assert found.per_day[0] == pytest.approx((a + n) / (a / mean + days), rel=CLOSE)
    assert found.sd[0] == pytest.approx(np.sqrt(a + n) / (a / mean + days), rel=CLOSE)


def test_doubt_of_the_clinic_and_of_the_count_add_up_as_credibility_has_it():
    # Linear credibility: precisions add. The clinic knows a mean m within 5 %; T days of a renewal
    # process of irregularity i know it with a variance of i m/T.
    found = pace(history(one_instrument(days=(0, 30, 60, 90, 120), losses_mm=[0.0] * 5)))
    assert found.irregularity == 0.05  # clockwork, held at the least
    mean, days = 4 / 120, 120
    precision = 1 / (0.05 * mean) ** 2 + days / (found.irregularity * mean)
    assert found.sd[0] == pytest.approx(precision**-0.5, rel=CLOSE)


class OneAtATime:
    """Stands for a generator of normal numbers, of which all but one are 0."""

    def __init__(self, number):
        self.number = number

    def standard_normal(self, shape):
        numbers = np.zeros(shape)
        numbers.flat[self.number] = 1.0
        return numbers


def test_a_random_edge_line_has_the_variance_and_correlation_it_is_said_to_have():
    # What is linear in independent unit normals has the sum of their responses' products as its
    # covariance: exp(−τ²) here, to the spline between grid points.
    from edgekit.edge_finish.edge_profile import _unit_process

    positions = np.array([0.0, 0.37, 1.0, 1.9, 3.0])
    on_grid = [0, 2, 4]
    shape = []

    class Asks(OneAtATime):
        def standard_normal(self, size):
            shape.append(size)
            return super().standard_normal(size)

    _unit_process(positions, Asks(0))
    number = int(np.prod(shape[0]))
    responses = np.array([_unit_process(positions, OneAtATime(i)) for i in range(number)])
    lag = positions[:, None] - positions
    found, wanted = responses.T @ responses, np.exp(-(lag**2))
    np.testing.assert_allclose(found, wanted, atol=SPLINE)
    np.testing.assert_allclose(found[on_grid][:, on_grid], wanted[on_grid][:, on_grid], atol=FFT)


def test_a_saving_by_interval_spreads_as_its_uncertain_inputs_do(log):
    # GUM supplement 1: draws of the loss, of the exponent (its range is four standard deviations)
    # and of each edge's pace go through the arithmetic of a saving; per_um and unit are prices.
    from edgekit.clinic.cost import saving as module

    result = ek.forecast(log, retire=ek.MaxWidthLoss())
    prices = ek.read_prices(DEMO / "prices.csv")
    row = result.table.iloc[0]
    change = ek.clinic.IntervalChange(pattern=row["pattern"], method=row["method"], factor=1.1)
    rate, rate_sd, per_um = module._edges(result, prices, change.pattern, change.method)
    loss, loss_sd = module._loss(result, change.pattern, change.method)
    unit = module._session_cost(log, prices, change.method)
    law = ek.evidence().set_index("name").loc["dull_exponent"]
    low, high = (float(word) for word in str(law["spread"]).replace("–", " to ").split(" to "))
    chance = np.random.default_rng(3)
    size = 20_000
    losses = chance.normal(loss, loss_sd, size)[:, None]
    exponents = chance.normal(law["value"], (high - low) / 4, size)[:, None]
    paces = chance.normal(rate, rate_sd, (size, len(rate)))
    grown = change.factor ** (exponents - 1)
    drawn = (paces * (losses * per_um * (1 - grown) + unit * (1 - 1 / change.factor))).sum(axis=1)
    found = ek.saving(result, prices=prices, change=change)
    half = (found.per_year_high - found.per_year_low) / 2
    assert half / z_of(result.level) == pytest.approx(drawn.std(), rel=0.03)  # 20,000 draws: 0.5 %
    assert found.per_year == pytest.approx(drawn.mean(), rel=0.03)


def test_in_a_currency_of_half_the_worth_every_sum_and_its_interval_doubles(log):
    result = ek.forecast(log, retire=ek.MaxWidthLoss())
    one, two = (
        ek.budget(
            result,
            prices=ek.Prices(
                instrument={"": 40.0 * worth},
                session={"": 0.7 * worth},
                minute=0.5 * worth,
                currency="EUR",
            ),
            months=6,
        )
        for worth in (1.0, 2.0)
    )
    for side in ("", "_low", "_high"):
        assert two.total[f"cost{side}"] == pytest.approx(2 * one.total[f"cost{side}"], rel=CLOSE)
        for table in ("months", "costs"):
            mine, theirs = (getattr(plan, table)[f"cost{side}"] for plan in (one, two))
            np.testing.assert_allclose(theirs, 2 * mine, rtol=CLOSE)
