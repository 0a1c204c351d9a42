"""Random calls of everything public: ``python tests/fuzz.py [CASES] [SEED]``.

Good arguments of a call are spoiled: one or two of them become a borderline form of themselves or
a value of another kind. Results' methods and properties are called as well. Each answer must be a
result without unnamed NaN, an `EdgekitError`, or a TypeError for arguments that do not exist, and
it must come within a minute, without a warning. Prints what did not.
"""

import dataclasses
import inspect
import math
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
import warnings
from collections.abc import Mapping
from contextlib import contextmanager
from enum import Enum
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

import edgekit as ek
from edgekit.record import Record
from tests.good_calls import calls
from tests.results import DEMO, results

GUARD_S = 60
ROOM = 3_000_000_000  # bytes of addresses beyond those in use
MIN_CASES = 6  # of each call
# Calls that take a tenth of a second or more when good: drawn less often than others, by so much.
SLOW = {
    "compare_with_model": 250,
    "face_or_sides": 100,
    "figures.blade": 30,
    "figures.sheet": 30,
    "key_inputs": 150,
    "read_log": 10,
    "read_tray": 20,
    "sensitivity": 80,
    "spaced_placements": 40,
    "tornado": 10,
}
METHODS_SHARE = 0.2  # of the cases
NOT_SPOILED = ("executor", "progress", "out")

# Fields and columns whose own text says that NaN stands for what was not measured, or is not there.
MISSING = {"grid_um", "grid_um_mc", "minutes", "riser_mm", "rod_mm", "strokes"}
MISSING |= {"width_mm", "force_n", "travel_mm", "low_deg", "high_deg"}
MISSING |= {
    f"{name}{kind}_{end}"  # where no constants were drawn
    for name in ("", "sessions_", "loss_um_per_session_")
    for kind in ("ignorance", "both")
    for end in ("low", "high")
}
# What a stroke, a rule, a guide, a hand or a path answers in the package's inner loops, to records
# and arrays that the package made: by name of the method, on whatever has it.
INNER = {
    "after",
    "angle_deg_on",
    "at",
    "centres",
    "common",
    "done",
    "dull",
    "fresh_um",
    "least_inset",
    "margin",
    "normals",
    "of",
    "scatter",
    "seconds",
    "stretch",
    "used_up",
    "useful_strokes",
    "within",
}
CALLED_FROM_OUTSIDE = {
    "Alternation.at",
    "Method.at",
    "Edge.stretch",
    "Prices.of",
    "SettingRange.of",
}


@cache
def wrong():
    """Values of every kind: borderline ones first, then what never fits."""
    shown = results()
    universal = ek.patterns.universal_curette()
    here = Path(tempfile.mkdtemp())  # writers are among the calls, and some may replace
    os.mkfifo(pipe := here / "pipe")
    messy = Path(shutil.copy(DEMO / "log_messy.csv", here))
    return [
        *(0, 1, -1, 2, 2.5, 1e-12, 1e-300, 1e12, 1e308, -1e308, 10**9, 10**30),
        *(math.nan, math.inf, -math.inf, np.float32(0.5), np.int64(3), np.array(2.0)),
        *(np.array([]), np.array([1.0, math.nan]), np.arange(3.0), np.zeros((2, 2))),
        *([], (), {}, "", "x\0y", "\ud800", "left", "$5 to $6", "A\u200b1", "1", "x" * 3000),
        *(Path("missing.toml"), messy, here, pipe),
        *(
            None,
            True,
            b"bytes",
            object(),
            int,
            max,
            1j,
            np.timedelta64(3, "D"),
            np.datetime64(0, "D"),
        ),
        *(np.ma.masked, np.ma.array([1.0, 2.0], mask=[False, True]), pd.NA, pd.NaT),
        *({"a": 1}, ["a", 2], [None], [1.0, 2.0], [[1, 2], [3]], {1: 2}, {"use.strokes": 3}),
        *(pd.DataFrame(), pd.DataFrame({"a": [1, "b"]}), pd.Series([1.0, 2.0])),
        *(universal, universal.edges, universal.edges["left"]),
        *(ek.methods.freehand(), ek.methods.freehand, ek.RodStone(), ek.Use(), ek.Basis.MEAN),
        *(shown[n] for n in ("Session", "Life", "Log", "Forecast", "Setting", "Grid", "Lay")),
    ]


def borderline(value, rng):
    """A form of a good value that is nearly as good, or just not."""
    if isinstance(value, bool) or value is None:
        return value
    if isinstance(value, int | float):
        factor = [0, 1, -1, 1e-9, 1 + 1e-12, 1e3, 1e-3, 10, 1e9, 0.5][rng.integers(10)]
        made = value * factor
        return [made, np.float32(made), np.array(made), [made], np.array([made])][rng.integers(5)]
    if isinstance(value, np.ndarray | list | tuple) and len(value):
        items = list(value)
        return [
            items[::-1],
            items[:1],
            items + items,
            [],
            tuple(items),
            np.array(items, dtype=object),
            [*items[:-1], math.nan],
            [*items[1:], items[0]],
            [items[0]] * len(items),
            {str(i): item for i, item in enumerate(items)},
        ][rng.integers(10)]
    if isinstance(value, Mapping) and value:
        items = dict(value)
        first = next(iter(items))
        return [{**items, "x": 1}, {1: items[first]}, {first: None}, {}, list(items)][
            rng.integers(5)
        ]
    if isinstance(value, str):
        return [value.upper(), value + " ", value[::-1], value[:1], Path(value)][rng.integers(5)]
    if isinstance(value, Path):
        return [str(value), value.parent, value / "x", str(value) + "\0"][rng.integers(4)]
    return value


@contextmanager
def guard():
    """Raise what nothing catches when time is up."""

    def late(*_):
        raise KeyboardInterrupt(f"no answer within {GUARD_S} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(GUARD_S)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def answer(call, given):
    """None, or what was wrong with the answer."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.simplefilter("ignore", ek.FailedRows)  # the table holds the reasons
        try:
            with guard():
                result = call(**given)
                said = repr(result)
        except ek.EdgekitError as error:
            said = str(error)
            return None if error.remedy and said else f"no remedy: {said}"
        except TypeError as error:
            if "argument" not in str(error) or error.__traceback__.tb_next.tb_next is not None:
                return f"{type(error).__name__}: {error}"
            return None
        except (Exception, KeyboardInterrupt) as error:  # noqa: BLE001 - what is looked for
            return f"{type(error).__name__}: {error}"
    unnamed = sorted(set(nans(result)) - MISSING)
    return f"NaN in {', '.join(unnamed)}" if unnamed else None


def nans(result, name="result", depth=0):
    """Names of the fields and columns of a result that hold NaN."""
    if isinstance(result, pd.DataFrame):
        if "status" in result.columns:
            result = result[result["status"] == "ok"]
        for column in result.columns:
            if result[column].dtype.kind == "f" and result[column].isna().any():
                yield str(column)
    elif isinstance(result, np.ndarray):
        if result.dtype.kind == "f" and np.isnan(result).any():
            yield name
    elif isinstance(result, float):
        if math.isnan(result):
            yield name
    elif depth < 3 and (isinstance(result, Record) or dataclasses.is_dataclass(result)):
        if not isinstance(result, type):
            for item in dataclasses.fields(result):
                yield from nans(getattr(result, item.name), item.name, depth + 1)
    elif depth < 3 and isinstance(result, tuple | list):
        for item in result[:20]:
            yield from nans(item, name, depth + 1)
    elif depth < 3 and isinstance(result, Mapping):
        for key, item in list(result.items())[:20]:
            yield from nans(item, str(key), depth + 1)


@cache
def members():
    """(Name, call) of every public property and method of every result, bound to it."""
    made = (call(**given) for call, given in calls().values())
    kinds = {type(item).__name__: item for item in made if dataclasses.is_dataclass(item)}
    found = []
    for kind, result in (kinds | results()).items():
        if isinstance(result, Enum):
            continue
        for name, member in inspect.getmembers(type(result)):
            inner = name in INNER and f"{kind}.{name}" not in CALLED_FROM_OUTSIDE
            if name.startswith("_") or inner:
                continue
            if inspect.isfunction(member):
                found.append((f"{kind}.{name}", getattr(result, name)))
            elif isinstance(inspect.getattr_static(type(result), name), property):
                found.append((f"{kind}.{name}", lambda r=result, n=name: getattr(r, n)))
    return found


def cases(number, seed, quick):
    """Name, call and arguments of each case, the slow calls left out if `quick`."""
    rng, pool, table = np.random.default_rng(seed), wrong(), calls()
    names = sorted(name for name in table if table[name][1] and not (quick and name in SLOW))
    weight = np.array([1 / SLOW.get(name, 1) for name in names])
    share = rng.permutation(
        np.r_[
            np.repeat(np.arange(len(names)), MIN_CASES),
            rng.choice(
                len(names), size=max(0, number - MIN_CASES * len(names)), p=weight / weight.sum()
            ),
        ]
    )[:number]
    for which in share:
        if rng.random() < METHODS_SHARE:
            name, call = members()[rng.integers(len(members()))]
            given = {}
        else:
            name = names[which]
            call, given = table[name]
        keys = [key for key in inspect.signature(call).parameters if key not in NOT_SPOILED]
        keys = [key for key in keys if key not in ("r", "n")]
        picked = keys if not given else rng.permutation(keys)[: int(rng.integers(0, 3))].tolist()
        spoiled = {}
        for key in picked:
            if key in given and rng.random() < 0.4:
                spoiled[key] = borderline(given[key], rng)
            else:
                spoiled[key] = pool[int(rng.integers(len(pool)))]
        yield name, call, given | spoiled, spoiled


def run(number, seed, *, quick=False):
    """Faults by call, as text."""
    faults = {}
    limits = resource.getrlimit(resource.RLIMIT_AS)
    used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (used + ROOM, limits[1]))
    try:
        for name, call, given, spoiled in cases(number, seed, quick):
            fault = answer(call, given)
            if fault is not None:
                told = ", ".join(f"{key}={item!r:.60}" for key, item in spoiled.items())
                faults[f"{name}({told})"] = fault
    finally:
        resource.setrlimit(resource.RLIMIT_AS, limits)
    return faults


if __name__ == "__main__":
    size, root = (int(item) for item in (*sys.argv[1:], "10000", "20")[:2])
    os.chdir(tempfile.mkdtemp())
    start = time.perf_counter()
    found = run(size, root)
    for call_, fault_ in found.items():
        print(call_, "->", fault_)
    print(f"{len(found)} of {size} cases, {time.perf_counter() - start:.0f} s")
