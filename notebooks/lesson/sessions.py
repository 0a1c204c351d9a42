"""Pictures and tables of sessions: dulling in use, what each stroke takes, a slant on the face.

Every picture is a `Drawn`: the drawing, its title and alternative text, and its numbers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

import edgekit as ek
from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import BadArgument
from edgekit.grinding.session import SHARPEN_DEPTHS
from lesson.drawing import BLUE, GREY, INK, VERMILION, Chart, Drawn
from lesson.parts import Z90

__all__ = [
    "at_levels",
    "dulling",
    "extra_strokes",
    "lives",
    "one_hand",
    "ranked",
    "rounded",
    "same_error",
    "shares",
    "slant",
    "steady",
    "strokes_share",
]

MAX_HANDS = 1000
STATIONS = 100  # along an edge sharpened once, or a few times
DEPTHS = 48  # down its flank, where one life's numbers are shown
# Gauss's rule of three points between 0 and 1: exact for polynomials of the fifth degree.
POINTS = 0.5 + np.sqrt(0.15) * np.array([-1.0, 0.0, 1.0])
WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18
REDRAWN = 400  # times that runs are drawn again for an interval


def dulling(laws: Mapping[str, ek.DullingLaw], *, sharp_um: float, strokes: float) -> Drawn:
    """How the radius of an edge grows with working strokes, by laws that contradict one another.

    Examples
    --------
    >>> drawn = dulling({"as the root": ek.PowerDulling()}, sharp_um=1.5, strokes=45)
    >>> drawn.title
    'After 45 strokes at one place: 4.6 µm (as the root)'
    """
    if not laws:
        raise BadArgument("no law to draw", dict(laws), "Give one by name, such as PowerDulling.")
    count = np.linspace(0.0, strokes, 91)
    chart = Chart(
        x=(0.0, strokes),
        y=(0.0, 10.0),
        x_name="working strokes at one place",
        y_name="edge radius [µm]",
    )
    numbers = {}
    looks = [(VERMILION, ""), (BLUE, "9 4"), (INK, "2 4"), (GREY, "12 3 2 3")]
    for (name, law), (colour, dashes) in zip(laws.items(), looks, strict=False):
        radius = law.after(np.full(len(count), sharp_um), count)
        chart.line(count, radius, colour, width=2.5, dashes=dashes)
        chart.text(strokes, float(radius[-1]), name, colour, anchor="end", lift=7)
        numbers[name] = float(radius[-1])
    ends = ", ".join(f"{value:.1f} µm ({name})" for name, value in numbers.items())
    kind = (
        "Line chart of the radius of the edge against working strokes at one place, one line for "
        "each law"
    )
    return chart.drawn(
        kind=kind, title=f"After {strokes:g} strokes at one place: {ends}", numbers=numbers
    )


def steady(off_deg: float, **given: Any) -> ek.Method:
    """Rolling by a hand that errs in nothing but an angle between stone and face too large by this.

    It presses as the median hand does. What is `given` besides goes to `edgekit.methods.freehand`,
    such as a stop rule.
    """
    hand = ek.Hand(tilt_deg=ek.ErrorTerm(bias=-checks.finite("off_deg", off_deg)))
    stroke = ek.strokes.rolling(within_tilt_sd_deg=0.0)
    return replace(ek.methods.freehand(stroke=stroke, hand=hand, **given), removal_gsd=1.0)


def same_error(blade: ek.Blade, off_deg: Sequence[float], *, sessions: int = 5) -> pd.DataFrame:
    """Sessions in a row with the same wrong angle, by a hand that errs in nothing else.

    Parameters
    ----------
    blade : Blade
    off_deg : sequence of float
        Angles between stone and face, less the right one [°]; see `wrong_angle`.
    sessions : int

    Returns
    -------
    DataFrame
        A row for each error: strokes of the stone in the first and in the last session, the
        angle's error after each of them [°], and the width lost in all [µm].

    Examples
    --------
    >>> same_error(ek.patterns.universal_curette(), [2.0])["last_off_deg"].round(1).tolist()
    [-2.0]
    """
    alike = ek.Use(sharp_radius_gsd=1.0, severity_gsd=1.0)
    rows = []
    for off in off_deg:
        life = partial(ek.live, use=alike, rng=1, max_sessions=sessions)
        past = life(blade, steady(off), stations=STATIONS, depths=DEPTHS).history
        first, last = past.iloc[0], past.iloc[-1]
        row = {"off_deg": off, "first_strokes": int(first["stone_strokes"])}
        row |= {
            "last_strokes": int(last["stone_strokes"]),
            "first_off_deg": first["angle_error_deg"],
        }
        row |= {"last_off_deg": last["angle_error_deg"], "width_um": last["mean_width_um"]}
        rows.append(row)
    angles = ["first_off_deg", "last_off_deg"]
    table = pd.DataFrame(rows)
    table[angles] = table[angles].round(9) + 0.0  # no angle of minus nothing
    return table


def rounded(blade: ek.Blade, radius_um: float) -> ek.WornBlade:
    """A blade evenly rounded, to be sharpened by many hands: its geometry is made once."""
    return ek.WornBlade.new(blade, radius_um=radius_um, stations=STATIONS, depths=SHARPEN_DEPTHS)


def one_hand(
    worn: ek.WornBlade, method: ek.Method, counts: Sequence[int], *, rng: int
) -> tuple[FloatArray, FloatArray]:
    """Mean loss [µm] and share of the edge that is sharp, after each of some counts of strokes.

    The same hand each time: its first strokes are alike however many follow.
    """
    done = [
        ek.sharpen(worn, replace(method, stop=ek.strokes.counted(strokes=count)), rng=rng)
        for count in counts
    ]
    edges = [next(iter(session.edges.values())) for session in done]
    return (
        np.array([edge.mean_recession_um for edge in edges]),
        np.array([edge.sharp_fraction for edge in edges]),
    )


def extra_strokes(
    blade: ek.Blade, method: ek.Method, *, extra: int, dull_radius_um: float, hands: int
) -> pd.DataFrame:
    """What some strokes more take from an edge that is good already, one row for each hand.

    Parameters
    ----------
    blade : Blade
    method : Method
        With a stop rule; its session says how many strokes a hand needs.
    extra : int
        Strokes made after that.
    dull_radius_um : float
    hands : int
        How many; hand k has the seed k, from 1.

    Returns
    -------
    DataFrame
        ``hand``, ``strokes`` needed, ``needed_um`` and ``more_um``: mean loss by then, and what the
        strokes after it add.

    Examples
    --------
    >>> rows = extra_strokes(ek.patterns.area_specific_curette(), ek.methods.freehand(), extra=4,
    ...                      dull_radius_um=4.0, hands=2)
    >>> bool((rows["more_um"] >= 0).all())
    True
    """
    rows, worn = [], rounded(blade, dull_radius_um)
    for hand in range(1, checks.count("hands", hands, most=MAX_HANDS) + 1):
        done = ek.sharpen(worn, method, rng=hand)
        needed, taken = int(done.stone_strokes), next(iter(done.edges.values())).mean_recession_um
        after, _ = one_hand(worn, method, [needed + extra], rng=hand)
        rows.append((hand, needed, taken, float(after[0] - taken)))
    return pd.DataFrame(rows, columns=["hand", "strokes", "needed_um", "more_um"])


def strokes_share(
    blade: ek.Blade,
    method: ek.Method,
    rows: pd.DataFrame,
    *,
    extra: int,
    dull_radius_um: float,
) -> Drawn:
    """What strokes take before and after the edge is good: the mean of the hands, and each hand.

    Every hand's strokes are counted from the one after which its own edge was good.

    Parameters
    ----------
    blade : Blade
    method : Method
    rows : DataFrame
        Hands and the strokes that each needed, of `extra_strokes` with the same arguments.
    extra : int
        Strokes made after that.
    dull_radius_um : float
    """
    before, worn = int(rows["strokes"].max()), rounded(blade, dull_radius_um)
    count = np.union1d(np.arange(-before, extra + 1, 2), [0, extra])  # strokes go there and back
    loss = np.zeros((len(rows), len(count)))  # 0 as long as a hand has not begun
    for row, hand, needed in zip(loss, rows["hand"], rows["strokes"], strict=True):
        made = count[count > -needed] + needed
        row[-len(made) :], _ = one_hand(worn, method, made.tolist(), rng=int(hand))
    chart = Chart(
        x=(-float(before), float(extra)),
        y=(0.0, 20.0),
        x_name="strokes before (−) and after the edge is good",
        y_name="edge moved in [µm]",
    )
    for row in loss:
        chart.line(count, row, GREY, width=0.7)
    mean = loss.mean(axis=0)
    good = int(np.flatnonzero(count == 0)[0])
    chart.line(count[: good + 1], mean[: good + 1], VERMILION, width=4)
    chart.line(count[good:], mean[good:], INK, width=4, dashes="8 4")
    chart.line([0, 0], [0, 20], GREY, width=1.2, dashes="2 3")
    chart.text(0.2, 18.5, "good from here", GREY)
    chart.text(0.3 - before, 18.5, f"thin: each of {len(rows)} hands", GREY)
    chart.text(0.3 - before, 16.5, "thick: their mean", VERMILION)
    taken, more = float(mean[good]), float(mean[-1] - mean[good])
    title = f"Mean of {len(rows)} hands: {taken:.1f} µm until the edge is good, "
    title += f"{more:.1f} µm more in the next {extra} strokes"
    kind = (
        "Line chart of what a session takes against strokes, counted for each hand from the one "
        "after which its edge was good; hands thin, their mean thick, dashed once the edge is good"
    )
    numbers = {"needed_um": taken, "extra_um": more, "before": float(before)}
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def slant(result: ek.FaceOrSides, name: str, by_tilt: pd.DataFrame | None = None) -> Drawn:
    """Sessions that half of the lives reach on the face, against the stone's slant, and the sides.

    Slants from another result may be given: they are the same however the sides are ground.
    The title says where the two lines meet, beyond which the face's half-way life is the shorter.
    """
    found = result.by_tilt if by_tilt is None else by_tilt
    sides = result.table.iloc[0]
    at, middle = found["tilt_sd_deg"].to_numpy(), found["sessions_p50"].to_numpy()
    low, high = found["sessions_p10"].to_numpy(), found["sessions_p90"].to_numpy()
    top = float(np.ceil(max(high.max(), sides["sessions_p90"]) / 10) * 10)
    chart = Chart(
        x=(0.0, float(at[-1])), y=(0.0, top), x_name="slant of the stone, sd [°]", y_name="sessions"
    )
    chart.line([*at, *at[::-1]], [*low, *high[::-1]], "none", fill="#f6d2ba")
    chart.line(at, middle, VERMILION, width=2.5, dashes="9 4")
    chart.dots(at, middle, VERMILION, radius=4)
    chart.line(at[[0, -1]], [sides["sessions_p50"]] * 2, BLUE, width=2.5)
    chart.text(float(at[-1]), float(sides["sessions_p50"]), "sides", BLUE, anchor="end", lift=6)
    chart.text(0.04 * float(at[-1]), float(middle[0]), "face", VERMILION, lift=8)
    below = np.flatnonzero(middle < sides["sessions_p50"])
    numbers = {"sides": float(sides["sessions_p50"]), "face": float(middle[0])}
    if len(below):
        numbers["behind_from_deg"] = float(at[below[0]])
        words = f"the face is behind even at a slant of {at[0]:g}°"
        if below[0] > 0:
            pair = slice(below[0] - 1, below[0] + 1)
            ahead = middle[pair] - sides["sessions_p50"]
            meet = float(np.interp(0.0, -ahead, at[pair]))
            numbers["meet_deg"] = meet
            words = f"the lines meet at a slant of {meet:.1f}°, beyond it the face is behind"
    else:
        words = f"up to a slant of {at[-1]:g}° the face is never behind"
    kind = (
        "Line chart of the sessions that half of the lives reach: face dashed in vermilion with "
        "the band of eight lives in ten, sides solid in blue"
    )
    return chart.drawn(kind=kind, title=f"{name}: {words}", numbers=numbers)


def lives(
    groups: Mapping[str, Sequence[float]],
    name: str,
    *,
    quantity: str,
    end: float,
    interval: bool = False,
    radius: float = 1.6,
    limit: tuple[float, str] | None = None,
) -> Drawn:
    """Every life as a dot, in one row for each group, with its mean; the axis ends at `end`.

    Parameters
    ----------
    groups : mapping of str to sequence of float
    name, quantity : str
    end : float
        Of the axis, alike for all frames of a flip book.
    interval : bool
        A bar about each mean, and ± in its number: its 90 % interval by the number of lives.
    radius : float
        Of a dot, in pixels.
    limit : (float, str), optional
        A line across and what it means; the title counts the first row's lives that reach it.
    """
    rows = list(groups)
    top = -0.5 if limit is None else -0.8  # room for what the limit means
    chart = Chart(x=(0.0, end), y=(len(rows) - 0.5, top), x_name=quantity, rows=rows)
    words, numbers = [], {}
    for row, (group, values) in enumerate(groups.items()):
        given = np.sort(np.asarray(values, dtype=float))
        lift = 0.3 * np.abs(np.sin(np.arange(len(given)) * 2.4))  # apart, alike in every frame
        chart.dots(given, row - lift, GREY, radius=radius)
        mean = float(given.mean())
        chart.line([mean, mean], [row + 0.1, row - 0.4], VERMILION, width=3)
        if interval and len(given) > 1:  # its number at the end of the row, or it hides the bar
            half = Z90 * float(given.std(ddof=1)) / len(given) ** 0.5
            chart.line([mean - half, mean + half], [row + 0.08] * 2, VERMILION, width=5)
            chart.text(end, row + 0.08, f"{mean:.0f} ± {half:.0f}", INK, anchor="end", lift=-5)
        else:
            chart.text(mean, row + 0.3, f"{mean:.0f}", INK, anchor="middle")
        words.append(f"{group}: {mean:.0f} on average")
        numbers[group] = mean
    kind = f"Dots in rows, one for each life, with the mean as a bar. {'; '.join(words)}"
    first, last = numbers[rows[0]], numbers[rows[-1]]
    title = f"{name}: {first:.0f} to {last:.0f} {quantity} on average"
    if limit is not None:
        at, meaning = limit
        chart.line([at, at], chart.y, INK, width=1.5, dashes="2 3")
        chart.text(at, top, f" {meaning}", INK, lift=-14)
        over = 100 * float((np.asarray(groups[rows[0]], dtype=float) >= at).mean())
        numbers["over_limit"] = over
        title = f"{name}: {rows[0]}, {first:.0f} {quantity} on average, and {over:.0f} in 100 "
        title += f"take {meaning}"
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def ranked(one: FloatArray, two: FloatArray, count: int, *, half_um: float = 16.0) -> Drawn:
    """Many small studies of two methods: on which side of zero does each put their difference?

    Parameters
    ----------
    one, two : array (N,)
        Losses of N lives by either method; run by run the same instruments.
    count : int
        Lives of each method in a study; N // count studies, two or more.
    half_um : float
        The axis runs from minus this to this.

    Raises
    ------
    BadArgument
        Fewer than two studies, or methods of unlike many lives.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> drawn = ranked(rng.normal(17, 4, 400), rng.normal(15, 4, 400), 4)
    >>> drawn.numbers["studies"]
    100
    """
    studies = len(one) // checks.count("count", count, most=MAX_HANDS)
    if studies < 2 or len(one) != len(two):
        remedy = "Give two or more studies of the same runs."
        raise BadArgument("studies of two methods", (len(one), len(two), count), remedy)
    first, second = (np.reshape(v[: studies * count], (studies, count)).mean(1) for v in (one, two))
    found = {"other instruments": first - np.roll(second, 1), "same instruments": first - second}
    truth = float(np.mean(one) - np.mean(two))
    y = (1.5, -0.5)
    name = "difference of the two means [µm]"
    chart = Chart(x=(-half_um, half_um), y=y, x_name=name, rows=list(found))
    numbers: dict[str, float] = {"studies": studies, "difference_um": truth}
    for row, (group, value) in enumerate(found.items()):
        wrong = np.sign(value) != np.sign(truth)
        at = row - 0.55 * np.abs(np.sin(np.arange(studies) * 2.4)) + 0.25
        chart.dots(value[~wrong], at[~wrong], BLUE, radius=2.4)
        chart.dots(value[wrong], at[wrong], VERMILION, radius=2.4)
        numbers[group] = int(wrong.sum())
    chart.line([0, 0], y, INK, width=1.5, dashes="2 3")
    chart.text(-0.97 * half_um, -0.5, "the wrong way", VERMILION, lift=-14)
    chart.text(0.97 * half_um, -0.5, "the right way", BLUE, anchor="end", lift=-14)
    other, same = (numbers[group] for group in found)
    title = f"{count} lives of each: {other:.0f} of {studies} studies rank the two the wrong way; "
    title += f"{same:.0f} if both ways meet the same instruments"
    kind = f"Dots in two rows, one for each of {studies} studies, left of zero the wrong way"
    return chart.drawn(kind=kind, title=title, numbers=numbers)


def at_levels(inputs: Mapping[str, Any]) -> dict[str, list[float]]:
    """Three levels of each input, at the points of Gauss's rule in its probability.

    Parameters
    ----------
    inputs : mapping
        A distribution of `scipy.stats` for each input, or its lowest and highest value, all alike
        likely.

    Returns
    -------
    dict
        For `edgekit.full_grid`; the 11, 50 and 89 % points.

    Examples
    --------
    >>> at_levels({"x": (0.0, 1.0)})["x"]
    [0.1127..., 0.5, 0.8872...]
    """
    levels = {}
    for name, given in inputs.items():
        low_high = isinstance(given, tuple)
        at = np.interp(POINTS, [0, 1], given) if low_high else given.ppf(POINTS)
        levels[name] = np.asarray(at).tolist()
    return levels


def shares(lives: pd.DataFrame, names: Mapping[str, str], output: str) -> Drawn:
    """Shares of an output's variance that each input has, from a full grid of `at_levels`.

    Dot: what would go if the input were known (first share). Square: what would stay if all others
    were (total share). Lines: 90 % intervals from the number of runs, by drawing them again.

    Parameters
    ----------
    lives : DataFrame
        A sweep over the grid, every row the same runs.
    names : mapping of str to str
        Inputs and what to call them.
    output : str
    """
    runs = lives.pivot_table(index="run", columns=list(names), values=output).to_numpy()
    again = np.random.default_rng(0).integers(0, len(runs), (REDRAWN, len(runs)))
    drawn = _shares(runs.mean(0), len(names))
    spread = np.array([_shares(runs[pick].mean(0), len(names)) for pick in again])
    low, high = np.quantile(spread, [0.05, 0.95], axis=0)
    rows = list(names.values())
    chart = Chart(
        x=(0.0, 1.0), y=(len(rows) - 0.5, -0.5), x_name="share of the variance", rows=rows
    )
    numbers = {"runs": float(len(runs))}
    for row, name in enumerate(rows):
        for kind, (lift, colour) in enumerate(((-0.12, BLUE), (0.12, VERMILION))):
            at, ends = drawn[row, kind], [low[row, kind], high[row, kind]]
            chart.line(ends, [row + lift] * 2, colour, width=2, dashes="" if kind else "6 3")
            if kind:
                chart.line([at - 0.014, at + 0.014], [row + lift] * 2, colour, width=10)
            else:
                chart.dots([at], [row + lift], colour, radius=5)
            numbers[f"{name}, {('first', 'total')[kind]}"] = float(at)
    kinds = "Dots and squares in rows: the first and the total share of each input, with intervals"
    words = ", ".join(f"{name} {drawn[row, 1]:.0%}" for row, name in enumerate(rows))
    title = f"Total shares of the variance: {words}".replace("%", " %")
    return chart.drawn(kind=kinds, title=title, numbers=numbers)


def _shares(means: FloatArray, inputs: int) -> FloatArray:
    """First and total shares, a row for each input, of means on a grid of three levels."""
    value = np.reshape(means, (3,) * inputs)

    def spread(over: FloatArray) -> float:
        """Variance of what is left, all levels at their weights."""
        middle = over
        square = over**2
        for _ in range(over.ndim):
            middle, square = WEIGHTS @ middle, WEIGHTS @ square
        return float(square - middle**2)

    def known(keep: int) -> FloatArray:
        """Mean over all inputs but one."""
        left = np.moveaxis(value, keep, -1)
        for _ in range(inputs - 1):
            left = np.tensordot(WEIGHTS, left, 1)
        return left

    whole = spread(value)
    first = [spread(known(k)) / whole for k in range(inputs)]
    total = [
        1 - spread(np.tensordot(WEIGHTS, np.moveaxis(value, k, 0), 1)) / whole
        for k in range(inputs)
    ]
    return np.stack([first, total], axis=-1)
