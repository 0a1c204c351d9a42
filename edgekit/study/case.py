"""From a row of a grid to a study of lives: fields set by their dotted names."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
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

__all__ = ["LifeCase", "LifeStudy", "Task", "set_field"]


@dataclass(frozen=True, kw_only=True, eq=False)
class LifeStudy:
    """Lives of one blade under one method, ready to be lived."""

    blade: Blade
    method: Method | Alternation
    use: Use
    rules: tuple[RetireRule, ...]
    stations: int = LIFE_STATIONS
    depths: int = LIFE_DEPTHS
    max_sessions: int = int(value("max_sessions"))
    precision: Precision = np.float64

    def live(self, keys: RunKeys) -> Lives:
        """Live the runs of some keys."""
        return live_runs(
            self.blade,
            self.method,
            use=self.use,
            rules=self.rules,
            rngs=keys,
            stations=self.stations,
            depths=self.depths,
            max_sessions=self.max_sessions,
            histories=0,
            precision=self.precision,
        )


class Task(Protocol):
    """Makes the study of one row of a grid. Worker processes must be able to import it."""

    def __call__(self, row: Mapping[str, object]) -> LifeStudy:
        """The study of a row."""
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class LifeCase:
    """The ready task: a base case, of which a row changes any field.

    Rows may set ``blade.<keyword>`` (keywords of the pattern), ``method.<field>``,
    ``method.hand.tilt_deg.sd`` and the like, ``use.<field>``, ``rule.<field>`` (of every rule that
    has it), ``rule.0.<field>`` (of one rule), and ``blade``, ``method``, ``use`` or ``rule`` whole.

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
    >>> study = task({"blade.width_mm": 0.9, "method.placements": 6, "method.hand.tilt_deg.sd": 1.0})
    >>> round(study.blade.width_mm, 2), study.method.placements, study.method.hand.tilt_deg.sd
    (0.9, 6, 1.0)
    """

    blade: Callable[..., Blade] | Blade
    method: Method | Alternation
    use: Use = field(default_factory=Use)
    rules: tuple[RetireRule, ...] = DEFAULT_RULES
    stations: int = LIFE_STATIONS
    depths: int = LIFE_DEPTHS
    max_sessions: int = int(value("max_sessions"))
    precision: Precision = np.float64

    def __call__(self, row: Mapping[str, object]) -> LifeStudy:
        """The study of a row."""
        parts: dict[str, object] = {
            "blade": self.blade,
            "method": self.method,
            "use": self.use,
            "rule": self.rules,
        }
        keywords: dict[str, object] = {}
        for name in sorted(row, key=lambda item: item.count(".")):  # whole objects first
            owner, _, rest = name.partition(".")
            if owner not in parts:
                raise EdgekitError("no such field to sweep", name, f"Begin with {list(parts)}.")
            if not rest:
                parts[owner] = row[name]
            elif owner == "blade":
                keywords[rest] = row[name]
            elif owner == "rule":
                parts[owner] = _set_rule(parts[owner], rest, row[name])
            else:
                parts[owner] = set_field(parts[owner], rest, row[name], within=owner)
        return LifeStudy(
            blade=_blade(parts["blade"], keywords),
            method=parts["method"],  # type: ignore[arg-type]
            use=parts["use"],  # type: ignore[arg-type]
            rules=rules_of(parts["rule"]),  # type: ignore[arg-type]
            stations=self.stations,
            depths=self.depths,
            max_sessions=self.max_sessions,
            precision=self.precision,
        )


def _blade(blade: object, keywords: Mapping[str, object]) -> Blade:
    if isinstance(blade, Blade):
        if keywords:
            raise EdgekitError(
                "a finished blade has no keywords to sweep",
                list(keywords),
                "Give LifeCase the pattern itself, such as edgekit.patterns.hoe.",
            )
        return blade
    if not callable(blade):
        raise EdgekitError("blade must be a pattern or a Blade", blade, "Give one of ek.patterns.")
    own = getattr(blade, "__module__", "") == patterns.__name__  # gives the same whenever asked
    try:
        made = _kept(blade, tuple(keywords.items())) if own else blade(**keywords)
    except TypeError as error:
        raise EdgekitError(
            "the pattern does not take these keywords", list(keywords), str(error)
        ) from error
    if not isinstance(made, Blade):
        raise EdgekitError("the pattern made no Blade", made, "Return a Blade.")
    return made


@lru_cache(maxsize=16)
def _kept(pattern: Callable[..., Blade], keywords: tuple[tuple[str, object], ...]) -> Blade:
    """A pattern's blade, made once for rows in a row that share it: what is prepared for it is too."""
    return pattern(**dict(keywords))


def set_field(owner: object, path: str, new: object, *, within: str = "") -> object:
    """A copy of a frozen record with the field at a dotted path changed."""
    name, _, rest = path.partition(".")
    known = (
        [f.name for f in dataclasses.fields(owner) if f.init]
        if dataclasses.is_dataclass(owner) and not isinstance(owner, type)
        else []
    )
    if name not in known:
        raise EdgekitError(
            f"{within or type(owner).__name__} has no such field",
            name,
            f"Choose from {known}." if known else "It has no fields.",
        )
    inner = set_field(getattr(owner, name), rest, new, within=f"{within}.{name}") if rest else new
    return dataclasses.replace(owner, **{name: inner})  # type: ignore[type-var]


def _set_rule(rules: object, path: str, new: object) -> tuple[object, ...]:
    """The rules with a field changed in one of them, or in all that have it."""
    many = rules if isinstance(rules, tuple) else (rules,)
    first, _, rest = path.partition(".")
    if first.isdigit():
        number = int(first)
        if number >= len(many) or not rest:
            raise EdgekitError("no such rule", path, f"Number them 0 to {len(many) - 1}.")
        return (
            *many[:number],
            set_field(many[number], rest, new, within="rule"),
            *many[number + 1 :],
        )
    if not any(hasattr(rule, first) for rule in many):
        raise EdgekitError("no rule has such a field", path, "Name a field of a rule.")
    return tuple(
        set_field(rule, path, new, within="rule") if hasattr(rule, first) else rule for rule in many
    )
