"""A case to simulate, of which the rows of a grid set any field by its dotted name."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import field, replace
from functools import lru_cache, partial
from typing import Protocol

import numpy as np
import pandas as pd

from edgekit.checks import between, count, instance, one_of
from edgekit.errors import BadArgument
from edgekit.evidence_table import value
from edgekit.geometry import patterns
from edgekit.geometry.blade import Blade
from edgekit.grinding.random_streams import RunKeys, SeededKeys
from edgekit.grinding.worn_blade import DEPTHS
from edgekit.life.life import Lives, Use, live_runs, rules_of
from edgekit.life.prepared import Precision, check_precision, usual_stations
from edgekit.life.retire import DEFAULT_RULES, RetireRule
from edgekit.method.alternation import Alternation
from edgekit.method.method import Method
from edgekit.record import Record, UnknownField, check_known, set_fields
from edgekit.study.ignorance import (
    CONSTANTS,
    DRAWS,
    LIVES,
    MAX_DRAWS,
    drawn,
    intervals,
    method_with,
    use_with,
)
from edgekit.study.outcomes import finer, sample_columns
from edgekit.units import LEVEL

__all__ = ["LifeCase", "Task"]

Pattern = Callable[..., Blade]
# What a name in a grid may begin with.
_OWNERS = ("blade", "method", "use", "rule")


class Task(Protocol):
    """Makes the case of one row of a grid. Worker processes must be able to import it.

    With a method ``check_names(row)``, such as that of `LifeCase`, a sweep has it check every row
    before the first is computed.
    """

    def __call__(self, row: Mapping[str, object]) -> LifeCase:
        """The case of a row."""


class LifeCase(Record):
    """A blade, its method and its use, ready to be simulated; as a task, the base of every row.

    Rows may set ``blade.<keyword>`` (keywords of the pattern), ``method.<field>`` and fields within
    it at any depth, such as ``method.stroke.placements``, ``method.stop.strokes_between_looks`` or
    ``method.hand.tilt_deg.sd``, likewise ``use.<field>``, ``rule.<field>`` (of every rule that has
    it), ``rule.0.<field>`` (of one rule), and replace ``blade``, ``method``, ``use`` or ``rule``.
    Fields within an object that the same row replaces are set in the new one.

    Parameters
    ----------
    blade : callable or Blade
        A pattern, such as `edgekit.patterns.area_specific_curette`, or a finished blade, of which
        then no keyword can be swept.
    method : Method or Alternation
    use : Use, optional
    retire : RetireRule or sequence of them
    stations : int, optional
        Nodes along each edge; what the method asks for by default, see `ek.live`.
    depths, max_sessions : int
        Nodes down the flank, and where a life is cut off.
    precision : numpy.float64 or numpy.float32
        Of the fields; see `edgekit.life.life.live_runs` for what single precision changes.

    Examples
    --------
    >>> import edgekit as ek
    >>> task = LifeCase(blade=ek.patterns.universal_curette, method=ek.methods.freehand())
    >>> case = task({"blade.width_mm": 0.9, "method.stop.fraction": 0.9,
    ...              "method.hand.tilt_deg.sd": 1.0})
    >>> round(case.blade.width_mm, 2), case.method.stop.fraction, case.method.hand.tilt_deg.sd
    (0.9, 0.9, 1.0)
    """

    blade: Pattern | Blade
    method: Method | Alternation
    use: Use = field(default_factory=Use)
    retire: RetireRule | Sequence[RetireRule] = DEFAULT_RULES
    stations: int | None = None
    depths: int = DEPTHS
    max_sessions: int = int(value("max_sessions"))
    precision: Precision = np.float64

    def __post_init__(self) -> None:
        if not isinstance(self.blade, Blade) and not callable(self.blade):
            raise BadArgument(
                "blade must be a pattern or a Blade",
                self.blade,
                "Give one of ek.patterns.",
                argument="blade",
            )
        instance("method", self.method, (Method, Alternation), "Give one of ek.methods.")
        instance("use", self.use, Use, "Give a Use; Use() has the defaults.")
        rules_of(self.retire)  # refuses what is no rule
        if self.stations is not None:
            count("stations", self.stations)
        for name in ("depths", "max_sessions"):
            count(name, getattr(self, name))
        check_precision(self.precision)
        super().__post_init__()

    def live(self, keys: RunKeys, *, histories: int = 0, expected: float = 0.0) -> Lives:
        """Simulate the lives of some runs, which may be `expected` to last so many sessions; the
        blade must be a finished one."""
        given = {name: item for name, item in vars(self).items() if name != "retire"}
        given |= {"histories": histories, "expected": expected}
        return live_runs(**given, rules=rules_of(self.retire), rngs=keys)

    def refined(self) -> LifeCase:
        """The case at twice every resolution; the blade must be a finished one."""
        stations = self.stations
        if stations is None:
            blade: Blade = self.blade  # type: ignore[assignment]
            stations = usual_stations(blade, self.method, self.depths, self.precision)
        return replace(self, stations=finer(stations), depths=finer(self.depths))

    def intervals(
        self, *, runs: int = 200, draws: int = DRAWS, seed: int, level: float = LEVEL
    ) -> pd.DataFrame:
        """What is known of each outcome, variation and ignorance apart.

        Parameters
        ----------
        runs : int
            Lives at the case's own constants.
        draws : int
            Sets of unknown constants (`edgekit.study.ignorance.CONSTANTS`), within their spreads in
            the evidence table, with each of which the first lives, eight at most, are lived again.
        seed : int
        level : float
            Of all intervals.

        Returns
        -------
        DataFrame
            One row per outcome: ``outcome, value``, the mean; the ends ``_low`` and ``_high`` of
            intervals: ``variation`` between lives at the case's constants; ``ignorance``, of the
            mean, between draws; ``both``, of one life of which neither is known. ``level``.

        Raises
        ------
        BadArgument
            A number outside its range.

        Examples
        --------
        What a single life may come to, had others held the stone, and were the constants other:

        >>> import edgekit as ek
        >>> life = ek.live(ek.patterns.hoe(), ek.methods.powered(), rng=1)
        >>> case = ek.LifeCase(blade=life.blade, method=life.method, use=life.use)
        >>> table = case.intervals(runs=8, draws=4, seed=1).set_index("outcome")
        >>> low, high = table.loc["sessions", ["both_low", "both_high"]]
        >>> bool(low < life.sessions < high)
        True
        """
        count("draws", draws, 2, most=MAX_DRAWS)
        number, share = count("runs", runs, 2), between("level", level, 0.0, 1.0)
        case = self({})
        lives = pd.DataFrame(sample_columns(case.live(SeededKeys(seed, runs=number))))
        again = case.lived_again(draws=draws, runs=number, seed=seed)
        return intervals(lives, again, share)

    def with_constants(self, at: Mapping[str, float]) -> LifeCase:
        """The case with unknown constants at some quantiles of their spreads, from 0 to 1, by the
        names in `edgekit.study.ignorance.CONSTANTS`; those left out stay.
        """
        instance("at", at, Mapping, "Give quantiles by name, such as {'removal': 0.9}.")
        for name, share in at.items():
            one_of("name", name, CONSTANTS)
            between(name, share, 0.0, 1.0)
        use, method = use_with(self.use, at), method_with(self.method, at)
        return replace(self, use=use, method=method)

    def lived_again(self, *, draws: int, runs: int, seed: int) -> pd.DataFrame:
        """Lives of the first instruments and hands with other values of unknown constants.

        One row per draw and run: ``draw, run`` and the columns of a comparison's `runs`; of a
        finished blade.
        """
        number = min(count("runs", runs), LIVES)
        keys, parts = SeededKeys(seed, runs=number), []
        for k, at in enumerate(drawn(count("draws", draws, 0, most=MAX_DRAWS), seed)):
            columns = sample_columns(self.with_constants(at).live(keys))
            parts.append(pd.DataFrame({"draw": k, "run": np.arange(len(keys)), **columns}))
        return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()

    def __call__(self, row: Mapping[str, object]) -> LifeCase:
        """The case with the fields of a row set and its blade made."""
        self.check_names(row)
        blade, rules = row.get("blade", self.blade), row.get("rule", self.retire)
        records: dict[str, object] = {}
        for name in sorted(row, key=_dots):
            owner, _, path = name.partition(".")
            if owner in ("method", "use"):
                records[name] = row[name]
            elif path and owner == "blade":
                blade = _with_keyword(blade, path, row[name])
            elif path:
                rules = _set_rule(rules, path, row[name])
        return set_fields(self, records | {"blade": _blade(blade), "retire": rules})

    def check_names(self, row: Mapping[str, object]) -> None:
        """Raise `UnknownField` if a row names what cannot be set; its values are not judged."""
        instance("row", row, Mapping, "Give values by dotted names, such as use.strokes.")
        for name in row:
            instance("each name of row", name, str, "Give names such as use.strokes.")
        for name in sorted(row, key=_dots):
            owner, _, path = name.partition(".")
            if owner not in _OWNERS:
                raise UnknownField("no such field to sweep", name, f"Begin with {list(_OWNERS)}.")
            if not path:
                continue
            if owner == "blade":
                _with_keyword(row.get("blade", self.blade), path, row[name])
            elif owner == "rule":
                _rules_with(row.get("rule", self.retire), path)
            else:
                _check_field(self, name, row)


def lived_finer(case: LifeCase, keys: RunKeys | None, expected: float = 0.0) -> Lives | None:
    """Lives of a case at twice every resolution, if there are any, as `LifeCase.live` has them."""
    return None if keys is None else case.refined().live(keys, expected=expected)


def _dots(name: str) -> int:
    """Sorts names so that objects are set before fields within them."""
    return name.count(".")


def _check_field(case: LifeCase, name: str, row: Mapping[str, object]) -> None:
    """Raise `UnknownField` unless a dotted name leads to a field of a case's method or use."""
    at, *parts = name.split(".")
    record = row.get(at, getattr(case, at))
    for part in parts:
        check_known(record, part, within=at)
        at = f"{at}.{part}"
        record = row.get(at, getattr(record, part))


def _with_keyword(pattern: object, name: str, new: object) -> Pattern:
    """A pattern with a keyword set."""
    if isinstance(pattern, Blade):
        raise UnknownField(
            "a finished blade has no keywords to sweep",
            name,
            "Give LifeCase the pattern itself, such as edgekit.patterns.hoe.",
        )
    try:
        inspect.signature(pattern).bind_partial(**{name: new})  # type: ignore[arg-type]
    except TypeError as error:
        raise UnknownField("the pattern does not take this keyword", name, f"{error}.") from error
    return partial(pattern, **{name: new})  # type: ignore[operator,misc,arg-type]


def _blade(blade: object) -> Blade:
    if isinstance(blade, Blade):
        return blade
    if not callable(blade):  # a row may say anything
        raise BadArgument(
            "blade must be a pattern or a Blade",
            blade,
            "Give one of ek.patterns.",
            argument="blade",
        )
    pattern, keywords = (blade.func, blade.keywords) if isinstance(blade, partial) else (blade, {})
    if getattr(pattern, "__module__", "") == patterns.__name__:  # gives the same blade every time
        return _cached(pattern, tuple(keywords.items()))
    made = blade()
    if not isinstance(made, Blade):
        raise BadArgument("the pattern made no Blade", made, "Return a Blade.")
    return made


@lru_cache(maxsize=16)
def _cached(pattern: Pattern, keywords: tuple[tuple[str, object], ...]) -> Blade:
    """A pattern's blade, made once for successive rows that share it, and prepared only once."""
    return pattern(**dict(keywords))


def _rules_with(rules: object, path: str) -> tuple[tuple[object, ...], list[bool], str]:
    """The rules, which of them have the field at a path, and its path within them."""
    several = rules if isinstance(rules, tuple) else (rules,)
    first, _, rest = path.partition(".")
    if first.isdigit():
        chosen = [i == int(first) for i in range(len(several))]
        if not any(chosen) or not rest:
            raise UnknownField("no such rule", path, f"Number them 0 to {len(several) - 1}.")
        path = rest
    else:
        chosen = [hasattr(rule, first) for rule in several]
        if not any(chosen):
            raise UnknownField("no rule has such a field", path, "Name a field of a rule.")
    for rule, change in zip(several, chosen, strict=True):
        if change:
            check_known(rule, path.partition(".")[0], within="rule")
    return several, chosen, path


def _set_rule(rules: object, path: str, new: object) -> tuple[object, ...]:
    """The rules with a field changed in one of them, or in all that have it."""
    several, chosen, inner = _rules_with(rules, path)
    return tuple(
        set_fields(rule, {inner: new}, within="rule") if change else rule
        for rule, change in zip(several, chosen, strict=True)
    )
