"""Every public result: short where it is shown, read-only wherever an array can be reached."""

import dataclasses
import enum
import inspect
import pickle
from collections.abc import Mapping

import numpy as np
import pandas as pd
import pytest

import edgekit as ek
from edgekit.lazy import stub_names
from edgekit.record import Record
from tests.results import results

HOMES, _ = stub_names(ek.__file__)
MAX_LINES, MAX_LETTERS, MAX_HTML = 5, 400, 20_000
WHOLE_PAGES = {"SheetPage"}  # in a frame of their own
NOT_SHORT = {"Cautions"}  # made to be read in full, wherever they are shown
# What a user gives rather than gets: a line of Python is their best display.
INPUTS = {
    "Abrasive",
    "Alternation",
    "Hand",
    "Holder",
    "IntervalChange",
    "Use",
    "MaxWidthLoss",
    "RoundBack",
}


def public_records():
    """Public dataclasses that functions return or that users make."""
    for name in HOMES:
        kind = getattr(ek, name)
        if inspect.isclass(kind) and issubclass(kind, Record):
            yield name


def test_there_is_an_instance_of_every_public_record():
    made = {name for one in results().values() for name in (k.__name__ for k in type(one).__mro__)}
    assert set(public_records()) - made == set()


@pytest.mark.parametrize("name", results())
def test_a_result_shows_itself_in_a_few_lines(name):
    result = results()[name]
    text = repr(result)
    assert " object at 0x" not in text
    if name not in NOT_SHORT:
        assert text.count("\n") < MAX_LINES
        assert len(text) <= MAX_LETTERS
    if name not in INPUTS:
        most = 10 * MAX_HTML if name in WHOLE_PAGES else MAX_HTML
        assert 0 < len(result._repr_html_()) <= most


def arrays(thing, path, seen):
    """Arrays that can be reached from a value: by fields, items and public properties."""
    if isinstance(thing, np.ndarray):
        yield path, thing
        return
    plain = str | bytes | int | float | complex | type | enum.Enum | np.generic | None
    if isinstance(thing, plain | pd.DataFrame | pd.Series) or callable(thing) or id(thing) in seen:
        return
    seen[id(thing)] = thing
    if isinstance(thing, Mapping):
        for key, item in thing.items():
            yield from arrays(item, f"{path}[{key!r}]", seen)
    elif isinstance(thing, tuple | list):
        for at, item in enumerate(thing):
            yield from arrays(item, f"{path}[{at}]", seen)
    if type(thing).__module__.startswith("edgekit"):
        names = (
            [f.name for f in dataclasses.fields(thing)] if dataclasses.is_dataclass(thing) else []
        )
        for kind in type(thing).__mro__:
            names += [key for key, made in vars(kind).items() if isinstance(made, property)]
        for key in dict.fromkeys(names):
            if not key.startswith("_"):
                yield from arrays(getattr(thing, key, None), f"{path}.{key}", seen)


@pytest.mark.parametrize("name", results())
def test_every_array_of_a_result_is_read_only_also_in_another_process(name):
    result = results()[name]
    for one in (result, pickle.loads(pickle.dumps(result))):
        for path, array in arrays(one, name, {}):
            assert not array.flags.writeable, path
            base = array.base
            assert base is None or not getattr(getattr(base, "flags", None), "writeable", False), (
                f"{path} can be written through its base"
            )
