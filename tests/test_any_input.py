"""Whatever a public callable is given, it answers with a result or an error that teaches."""

import inspect

import numpy as np
import pytest

import edgekit as ek
from edgekit.lazy import stub_names
from tests import fuzz
from tests.fuzz import answer, wrong
from tests.good_calls import calls
from tests.results import NAMESPACES


def test_every_public_callable_is_called():
    names = set(stub_names(ek.__file__)[0])
    called = {name.split(".")[-1] for name in calls()} | {name.split(".")[0] for name in calls()}
    for name in names - called:
        assert not inspect.isfunction(getattr(ek, name)), name
    for space in NAMESPACES:
        for name in dir(getattr(ek, space)):
            assert name in called or not inspect.isfunction(getattr(getattr(ek, space), name)), name


@pytest.mark.parametrize("name", calls())
def test_good_arguments_are_good(name):
    call, given = calls()[name]
    call(**given)


@pytest.mark.parametrize("name", calls())
def test_a_wrong_main_object_is_refused_with_what_to_take(name):
    call, given = calls()[name]
    if not given:
        return
    main = next(iter(given))
    for item in wrong():
        fault = answer(call, given | {main: item})
        assert fault is None, f"{main}={item!r:.80}: {fault}"


@pytest.mark.parametrize("seed", [0, 1])
def test_a_few_random_calls_end_in_a_result_or_an_error_that_teaches(seed, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert fuzz.run(500, seed, quick=True) == {}


@pytest.mark.slow
def test_ten_thousand_random_calls_end_in_a_result_or_an_error_that_teaches(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert fuzz.run(10_000, 20) == {}


def _spins():
    while True:
        pass


def _warns():
    np.float64(1e308) * 10


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (_spins, "no answer within"),
        (_warns, "overflow"),
        (lambda: {}["x"], "KeyError"),
        (lambda: float("nan"), "NaN in result"),
        (lambda: len(3), "TypeError"),
    ],
)
def test_the_fuzz_finds_what_it_looks_for(call, says, monkeypatch):
    monkeypatch.setattr(fuzz, "GUARD_S", 1)
    assert says in answer(call, {})


@pytest.mark.parametrize("stop", [np.arange(3.0), np.array([]), [], 0, ""])
def test_a_stop_rule_that_is_none_is_refused_whatever_its_truth(stop):
    for method in (ek.methods.powered, ek.methods.freehand, ek.methods.bench_stone):
        with pytest.raises(ek.BadArgument, match="stop"):
            method(stop=stop)
    with pytest.raises(ek.BadArgument, match="stop"):
        ek.methods.held(15.0, stop=stop)


def test_arrays_of_shape_nothing_are_numbers_and_no_collections():
    hoe = ek.patterns.hoe()
    for empty in (np.array(2.0), "A-1", 7):
        with pytest.raises(ek.BadArgument, match="urgent"):
            ek.plan_bench({"A-1": hoe}, urgent=empty)
        with pytest.raises(ek.BadArgument, match="a tray"):
            ek.plan_bench(empty)
    assert ek.figures.picture(ek.figures.section(hoe), dpi=np.array(20.0)).width_px > 0
    assert ek.grain_um("FEPA-P", np.array(400)) == ek.grain_um("FEPA-P", 400)
