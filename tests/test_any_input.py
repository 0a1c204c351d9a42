"""Whatever a public callable is given, it answers with a result or an error that teaches."""

import inspect
import math
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import edgekit as ek
from edgekit.lazy import stub_names
from tests.good_calls import calls
from tests.results import DEMO, NAMESPACES, results

CALLS = 3000


def wrong():
    """Values of every kind: borderline ones first, then what never fits."""
    shown = results()
    universal = ek.patterns.universal_curette()
    return [
        0,
        1,
        -1,
        2.5,
        1e-12,
        1e12,
        10**30,
        math.nan,
        math.inf,
        -math.inf,
        np.float32(0.5),
        np.array([]),
        np.array([1.0, math.nan]),
        np.arange(3.0),
        [],
        (),
        {},
        "",
        "x\0y",
        "\ud800",
        "left",
        Path("missing.toml"),
        DEMO / "log_messy.csv",
        DEMO,
        None,
        True,
        b"bytes",
        object(),
        int,
        max,
        1j,
        {"a": 1},
        ["a", 2],
        [None],
        pd.DataFrame(),
        pd.DataFrame({"a": [1, "b"]}),
        universal,
        universal.edges,
        universal.edges["left"],
        ek.methods.freehand(),
        ek.methods.freehand,
        ek.RodStone(),
        ek.Use(),
        shown["Session"],
        shown["Life"],
        shown["Log"],
        shown["Forecast"],
        shown["Setting"],
        shown["Grid"],
    ]


def answer(call, given):
    """None, or what was wrong with the answer."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.simplefilter("ignore", ek.FailedRows)  # the table holds the reasons
        try:
            call(**given)
        except ek.EdgekitError as error:
            str(error)
        except TypeError as error:
            if "argument" not in str(error) or error.__traceback__.tb_next.tb_next is not None:
                return f"{type(error).__name__}: {error}"
        except Exception as error:  # noqa: BLE001 - that is what the test is about
            return f"{type(error).__name__}: {error}"
    return None


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


@pytest.mark.slow
def test_random_calls_end_in_a_result_or_an_error_that_teaches(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    rng = np.random.default_rng(20)
    pool, table = wrong(), calls()
    names = sorted(name for name in table if table[name][1])
    faults = {}
    for number in range(CALLS):
        name = names[number % len(names)]
        call, given = table[name]
        signature = inspect.signature(call)
        keys = [key for key in signature.parameters if key not in ("executor", "progress", "out")]
        spoiled = {}
        for key in rng.choice(keys, size=min(len(keys), int(rng.integers(0, 3))), replace=False):
            spoiled[str(key)] = pool[int(rng.integers(len(pool)))]
        fault = answer(call, given | spoiled)
        if fault is not None:
            faults[name, *(f"{key}={item!r:.60}" for key, item in spoiled.items())] = fault
    assert not faults, f"{len(faults)} of {CALLS}: {faults}"
