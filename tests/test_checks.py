"""One rule for numbers everywhere, and records that nobody can write to."""

import datetime as dt
import pickle
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple, Protocol, runtime_checkable

import numpy as np
import pytest

import edgekit as ek
from edgekit import EdgekitError, checks
from edgekit.record import Record, freeze

DEMO = Path(__file__).resolve().parents[1] / "data_demo" / "traces"

GOOD = {
    "int": 2,
    "float": 2.0,
    "numpy int": np.int8(2),
    "numpy float": np.float32(2),
    "decimal": Decimal("2.0"),
    "fraction": Fraction(4, 2),
    "array of shape ()": np.array(2),
    "masked array with nothing masked": np.ma.array(2.0)[()],
}
BAD = {
    "text": "2",
    "bytes": b"2",
    "true": True,
    "numpy true": np.True_,
    "complex": 2 + 0j,
    "numpy complex": np.complex128(2),
    "time span": np.timedelta64(2, "s"),
    "python time span": dt.timedelta(2),
    "date": np.datetime64("2026-01-02"),
    "masked": np.ma.masked,
    "array of one": np.array([2.0]),
    "list": [2.0],
    "nothing": None,
}


@pytest.mark.parametrize("value", GOOD.values(), ids=GOOD)
def test_real_numbers_are_taken_alone_and_in_arrays(value):
    assert checks.finite("x", value) == 2.0
    assert checks.positive("x", value) == 2.0
    assert checks.count("x", value) == 2
    assert checks.frozen_array("x", [value, 1]).tolist() == [2.0, 1.0]
    assert checks.frozen_array("x", value).tolist() == 2.0


@pytest.mark.parametrize("value", BAD.values(), ids=BAD)
def test_what_is_no_real_number_is_refused_alone_and_in_arrays(value):
    for check in (checks.number, checks.finite, checks.positive, checks.count, checks.fraction):
        with pytest.raises(EdgekitError, match="x must be"):
            check("x", value)
    if not isinstance(value, list | np.ndarray) or value is np.ma.masked:
        with pytest.raises(EdgekitError, match=r"array of numbers|must be a number"):
            checks.frozen_array("x", [value, 1.0])


@pytest.mark.parametrize(
    "values",
    [
        np.array([True, False]),
        np.array(["1"]),
        np.array([1j]),
        np.array([1], dtype="m8[s]"),
        np.ma.array([1.0, 2.0], mask=[False, True]),
        [[1, 2], [3]],
        [[True, 1.0]],
    ],
)
def test_arrays_follow_the_same_rule(values):
    with pytest.raises(EdgekitError, match="x must be"):
        checks.frozen_array("x", values)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 10**400, Decimal("nan")])
def test_only_finite_numbers_are_finite(value):
    with pytest.raises(EdgekitError, match="must be finite"):
        checks.finite("x", value)


def test_large_whole_numbers_keep_their_digits():
    assert checks.count("seed", 2**63 + 1, 0) == 2**63 + 1


def test_too_large_a_count_says_how_much_memory_it_would_take():
    with pytest.raises(EdgekitError, match=r"stations must be 100,000 or less \(they would take 8"):
        checks.count("stations", 10**9, most=100_000, bytes_each=8000)
    assert checks.count("stations", 100_000, most=100_000, bytes_each=8000) == 100_000


class Pair(NamedTuple):
    one: np.ndarray
    name: str


class Result(Record):
    values: np.ndarray
    pair: Pair
    by_edge: dict[str, np.ndarray]
    limit: float = 2.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "limit", checks.positive("limit", self.limit))
        super().__post_init__()


def result():
    base = np.arange(6.0)
    return base, Result(values=base[:3], pair=Pair(base, "a"), by_edge={"left": base[2:]})


def test_no_array_of_a_record_can_be_written_to_here_or_in_another_process():
    base, made = result()
    for record in (made, pickle.loads(pickle.dumps(made))):
        assert type(record.pair) is Pair
        for array in (record.values, record.pair.one, record.by_edge["left"]):
            assert not array.flags.writeable
            assert array.base is None
        with pytest.raises(TypeError):
            record.by_edge["left"] = base
    base[:] = -1.0
    assert made.values.tolist() == [0.0, 1.0, 2.0]


def results():
    """One of each result of geometry, contact and digitising."""
    blade = ek.patterns.universal_curette()
    edge = blade.edges["left"]
    read = ek.read_blade(DEMO / "FH-03-UC.toml")
    setting = ek.best_setting(edge, stations=30)
    return {
        "blade": blade,
        "edge": edge,
        "path": edge.path,
        "digitised path": read.edges["left"].path,
        "orientation": ek.orient(edge, stations=30),
        "orientation on a rod": ek.orient(edge, ek.RodStone(), stations=30),
        "setting": setting,
        "roll schedule": ek.roll_schedule(setting, seconds=9),
        "facets": ek.facets(edge, 5, depth_um=9, stations=50),
        "trace": read.trace,
        "trace of an edge": read.trace.edges["left"],
        "moved path": edge.moved(np.eye(3)).path,
    }


def arrays(value):
    """Arrays anywhere in a value."""
    if isinstance(value, np.ndarray):
        yield value
    elif isinstance(value, tuple):
        for item in value:
            yield from arrays(item)
    elif isinstance(value, Mapping):
        yield from arrays(tuple(value.values()))


@pytest.mark.parametrize("name", results())
def test_no_array_of_a_result_can_be_written_to(name):
    result = results()[name]
    assert isinstance(result, Record)
    for copy in (result, pickle.loads(pickle.dumps(result))):
        properties = [n for n in dir(type(copy)) if not n.startswith("__") and n != "table"]
        held = {n: getattr(copy, n) for n in properties if not callable(getattr(type(copy), n))}
        for attribute, value in {**vars(copy), **held}.items():
            for array in arrays(value):
                assert not array.flags.writeable, attribute
    text = repr(result)
    assert len(text) < 600
    assert len(text.splitlines()) <= 3


def test_a_blade_comes_back_from_another_process_as_it_was():
    blade = ek.patterns.area_specific_curette()
    again = pickle.loads(pickle.dumps(blade))
    arc = np.linspace(0.0, 5.0, 20)
    old, new = (each.edges["used"].frame(arc) for each in (blade, again))
    np.testing.assert_array_equal(new.position, old.position)
    np.testing.assert_array_equal(new.outward.d2, old.outward.d2)
    assert again.pattern == blade.pattern


def test_a_frozen_array_is_not_copied_again():
    once = freeze(np.arange(3.0))
    assert freeze(once) is once


def test_a_record_is_checked_and_shown_in_one_line():
    with pytest.raises(EdgekitError, match="limit must be above 0"):
        Result(values=np.zeros(1), pair=Pair(np.zeros(1), "a"), by_edge={}, limit=0)
    shown = repr(result()[1])
    assert shown.startswith("Result(values=3 numbers from 0 to 2, pair=")
    assert len(shown) < 200
    assert (
        "&lt;"
        in Result(values=np.zeros(1), pair=Pair(np.zeros(1), "<b>"), by_edge={})._repr_html_()
    )


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_numbers_whose_powers_would_overflow_are_refused_before_they_do(sign):
    from edgekit import checks

    assert checks.finite("x", sign * 1e30) == sign * 1e30
    assert checks.frozen_array("x", [0.0, sign * 1e30])[1] == sign * 1e30
    for call in (checks.finite, lambda name, value: checks.frozen_array(name, [0.0, value])):
        with pytest.raises(ek.BadArgument, match=r"x must be 1e\+30 at most") as caught:
            call("x", sign * 1.1e30)
        assert caught.value.value == sign * 1.1e30
    assert checks.positive("x", 1e-30) == 1e-30
    with pytest.raises(ek.BadArgument, match="x must be 1e-30 or more"):
        checks.positive("x", 0.9e-30)


def test_a_kind_is_told_once_of_records_but_of_nothing_else():
    class Sized(Protocol):
        size: int

    class Bag:
        pass

    kind, known = runtime_checkable(Sized), len(checks._KINDS)
    bag = Bag()
    bag.size = 3
    checks.instance("bag", bag, kind, "Give it a size.")
    assert len(checks._KINDS) == known
    with pytest.raises(ek.BadArgument, match="bag must be a Sized"):
        checks.instance("bag", Bag(), kind, "Give it a size.")
    for _ in range(2):
        checks.instance("method", ek.methods.freehand(), ek.Method, "Give one of ek.methods.")
        with pytest.raises(ek.BadArgument, match="method must be a Method"):
            checks.instance("method", ek.Method, ek.Method, "Give one of ek.methods.")


def test_huge_numbers_are_refused_and_warn_of_nothing():
    import numpy as np

    huge = 1e308
    for call in (
        lambda: ek.dull_edge(75.0, huge),
        lambda: ek.section_properties([[0, 0], [huge, 0], [huge, -huge], [0, -huge]]),
        lambda: ek.roughness(np.arange(500.0), np.linspace(0, huge, 500)),
        lambda: ek.vickers(huge),
        lambda: ek.blunting(None, conforming_um=1e-300),
    ):
        with pytest.raises(ek.EdgekitError):
            call()
