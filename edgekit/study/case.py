"""A case to simulate, of which the rows of a grid set any field by its dotted name."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import field, replace
from functools import lru_cache, partial
from typing import Protocol

import numpy as np

from edgekit.errors import EdgekitError
from edgekit.evidence_table import value
from edgekit.geometry import patterns
from edgekit.geometry.blade import Blade
from edgekit.grinding.random_streams import RunKeys
from edgekit.life.life import LIFE_DEPTHS, LIFE_STATIONS, Lives, Use, live_runs, rules_of
from edgekit.life.prepared import Precision
from edgekit.life.retire import DEFAULT_RULES, RetireRule
from edgekit.method.alternation import Alternation
from edgekit.method.method import Method
from edgekit.record import Record

__all__ = ["LifeCase", "Task", "UnknownField", "set_field"]

Pattern = Callable[..., Blade]
# What a name in a grid may begin with, and the field of a case that it stands for.
_OWNERS = {"blade": "blade", "method": "method", "use": "use", "rule": "rules"}


class UnknownField(EdgekitError):
    """A name in a grid for which there is nothing to set."""


class Task(Protocol):
    """Makes the case of one row of a grid. Worker processes must be able to import it.

    With a method ``check_names(row)``, such as that of `LifeCase`, a sweep has it check every row
    before the first is computed.
    """

    def __call__(self, row: Mapping[str, object]) -> LifeCase:
        """The case of a row."""


class LifeCase(Record):
    """A blade, its method and its use, ready to be simulated; as a task, the base of every row.

    Rows may set ``blade.<keyword>`` (keywords of the pattern), ``method.<field>``,
    ``method.hand.tilt_deg.sd`` and the like, ``use.<field>``, ``rule.<field>`` (of every rule that
    has it), ``rule.0.<field>`` (of one rule), and replace ``blade``, ``method``, ``use`` or
    ``rule``.

    Parameters
    ----------
    blade : callable or Blade
        A pattern, such as `edgekit.patterns.area_specific_curette`, or a finished blade, of which
        then no keyword can be swept.
    method : Method or Alternation
    use : Use, optional
    rules : tuple of RetireRule
    stations, depths, max_sessions : int
        Nodes of the field, and where a life is cut off.
    precision : numpy.float64 or numpy.float32
        Of the fields; see `edgekit.life.life.live_runs` for what single precision changes.

    Examples
    --------
    >>> import edgekit as ek
    >>> task = LifeCase(blade=ek.patterns.universal_curette, method=ek.methods.freehand())
    >>> case = task({"blade.width_mm": 0.9, "method.placements": 6, "method.hand.tilt_deg.sd": 1.0})
    >>> round(case.blade.width_mm, 2), case.method.placements, case.method.hand.tilt_deg.sd
    (0.9, 6, 1.0)
    """

    blade: Pattern | Blade
    method: Method | Alternation
    use: Use = field(default_factory=Use)
    rules: tuple[RetireRule, ...] = DEFAULT_RULES
    stations: int = LIFE_STATIONS
    depths: int = LIFE_DEPTHS
    max_sessions: int = int(value("max_sessions"))
    precision: Precision = np.float64

    def live(self, keys: RunKeys) -> Lives:
        """Simulate the lives of some runs; the blade must be a finished one."""
        return live_runs(**vars(self), rngs=keys, histories=0)

    def __call__(self, row: Mapping[str, object]) -> LifeCase:
        """The case with the fields of a row set and its blade made."""
        case = self
        for name in sorted(row, key=_dots):
            case = case._with(name, row[name])
        return replace(case, blade=_blade(case.blade), rules=rules_of(case.rules))

    def check_names(self, row: Mapping[str, object]) -> None:
        """Raise `UnknownField` if a row names what cannot be set; its values are not judged."""
        case = self
        for name in sorted(row, key=_dots):
            try:
                case = case._with(name, row[name])
            except UnknownField:
                raise
            except (AttributeError, TypeError, ValueError):  # a bad value fails in its row
                pass

    def _with(self, name: str, new: object) -> LifeCase:
        """This case with one field of a row set."""
        owner, _, path = name.partition(".")
        if owner not in _OWNERS:
            raise UnknownField("no such field to sweep", name, f"Begin with {[*_OWNERS]}.")
        if path and owner == "blade":
            new = _with_keyword(self.blade, path, new)
        elif path and owner == "rule":
            new = _set_rule(self.rules, path, new)
        elif path:
            new = set_field(getattr(self, owner), path, new, within=owner)
        return replace(self, **{_OWNERS[owner]: new})  # type: ignore[arg-type]


def _dots(name: str) -> int:
    """Sorts names so that objects are set before fields within them."""
    return name.count(".")


def _with_keyword(pattern: Pattern | Blade, name: str, new: object) -> Pattern:
    """A pattern with a keyword set."""
    if isinstance(pattern, Blade):
        raise UnknownField(
            "a finished blade has no keywords to sweep",
            name,
            "Give LifeCase the pattern itself, such as edgekit.patterns.hoe.",
        )
    try:
        inspect.signature(pattern).bind_partial(**{name: new})
    except TypeError as error:
        raise UnknownField("the pattern does not take this keyword", name, f"{error}.") from error
    return partial(pattern, **{name: new})


def _blade(blade: object) -> Blade:
    if isinstance(blade, Blade):
        return blade
    if not callable(blade):
        raise EdgekitError("blade must be a pattern or a Blade", blade, "Give one of ek.patterns.")
    pattern, keywords = (blade.func, blade.keywords) if isinstance(blade, partial) else (blade, {})
    if getattr(pattern, "__module__", "") == patterns.__name__:  # gives the same blade every time
        return _cached(pattern, tuple(keywords.items()))
    made = blade()
    if not isinstance(made, Blade):
        raise EdgekitError("the pattern made no Blade", made, "Return a Blade.")
    return made


@lru_cache(maxsize=16)
def _cached(pattern: Pattern, keywords: tuple[tuple[str, object], ...]) -> Blade:
    """A pattern's blade, made once for successive rows that share it, and prepared only once."""
    return pattern(**dict(keywords))


def set_field(owner: object, path: str, new: object, *, within: str = "") -> object:
    """A copy of a frozen record with the field at a dotted path changed."""
    name, _, rest = path.partition(".")
    known = [f.name for f in getattr(owner, "__dataclass_fields__", {}).values() if f.init]
    if name not in known:
        raise UnknownField(
            f"{within or type(owner).__name__} has no such field",
            name,
            f"Choose from {known}." if known else "It has no fields.",
        )
    inner = set_field(getattr(owner, name), rest, new, within=f"{within}.{name}") if rest else new
    return replace(owner, **{name: inner})  # type: ignore[type-var]


def _set_rule(rules: object, path: str, new: object) -> tuple[object, ...]:
    """The rules with a field changed in one of them, or in all that have it."""
    several = rules if isinstance(rules, tuple) else (rules,)
    first, _, rest = path.partition(".")
    if first.isdigit():
        chosen, field_path = [i == int(first) for i in range(len(several))], rest
        if not any(chosen) or not rest:
            raise UnknownField("no such rule", path, f"Number them 0 to {len(several) - 1}.")
    else:
        chosen, field_path = [hasattr(rule, first) for rule in several], path
        if not any(chosen):
            raise UnknownField("no rule has such a field", path, "Name a field of a rule.")
    return tuple(
        set_field(rule, field_path, new, within="rule") if change else rule
        for rule, change in zip(several, chosen, strict=True)
    )
