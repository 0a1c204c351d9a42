"""Read weighings: what each bout of strokes took, and how well the balance repeats."""

import enum
import math
import os
from collections import Counter, defaultdict
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from edgekit import checks
from edgekit.clinic.log.files import Refusal, first_refusal
from edgekit.clinic.weighing import sheets
from edgekit.clinic.weighing.sheets import FilledForm, Form
from edgekit.digitising.reader import read_blade
from edgekit.display import html_text
from edgekit.errors import BadFile, EdgekitError
from edgekit.evidence_table import value
from edgekit.files import beside, file_path
from edgekit.geometry.blade import Blade
from edgekit.record import Record

__all__ = ["Ending", "Way", "Weighings", "read_weighings"]

MAX_FORCE_N = 100.0
MAX_TRAVEL_MM = 200.0
MAX_DECIMALS = 9  # of a cell; a table of floats may show more
ROUNDED_SD = 12**-0.5  # of a reading's rounding, in units of its last digit: JCGM 100:2008, F.2.2.1
ENOUGH_READINGS = 12  # for the last digit to be read off them, not only off their decimals
BEFORE, AFTER = "before", "after"


class Way(enum.StrEnum):
    """How the stone travels in a bout, as `ek.strokes` has it."""

    ROLLING = "rolling"
    LOCAL = "local"


class Ending(enum.StrEnum):
    """What ended a bout: a number of strokes set beforehand, or an edge found sharp."""

    COUNTED = "counted"
    SHARP = "sharp"


_BOUT = {"instrument": sheets.code, "bout": sheets.number_of("bout", 1)}
_WEIGHTS = Form(
    what="table of weights",
    needed=("instrument", "bout", "state", "mass_mg"),
    readers=_BOUT
    | {
        "state": sheets.word_of("state", (BEFORE, AFTER)),
        "repeat": sheets.optional_count,
        "mass_mg": sheets.mass(1.0, needed=True),
        "control_mg": sheets.mass(1.0, needed=False),
        "note": sheets.free,
    },
)
_IN_GRAMS = Form(
    what=_WEIGHTS.what,
    needed=("instrument", "bout", "state", "mass_g"),
    readers={
        {"mass_mg": "mass_g", "control_mg": "control_g"}.get(name, name): reader
        for name, reader in _WEIGHTS.readers.items()
    }
    | {
        "mass_g": sheets.mass(sheets.MG_PER_G, needed=True),
        "control_g": sheets.mass(sheets.MG_PER_G, needed=False),
    },
)
_STROKES = Form(
    what="table of strokes",
    needed=("instrument", "bout", "strokes"),
    readers=_BOUT
    | {
        "stone": sheets.free,
        "way": sheets.word_of("way", tuple(Way), Way.ROLLING),
        "ended": sheets.word_of("ending", tuple(Ending), Ending.COUNTED),
        "strokes": sheets.number_of("number of strokes", 0),
        "force_n": sheets.amount("N", MAX_FORCE_N),
        "travel_mm": sheets.amount("mm", MAX_TRAVEL_MM),
        "operator": sheets.free,
        "trace_before": sheets.free,
        "trace_after": sheets.free,
        "note": sheets.free,
    },
)
TRACES = ("trace_before", "trace_after")
TEXTS = ("instrument", "stone", "way", "ended", "operator", *TRACES, "note")
Key = tuple[str, int]


class Weighings(Record):
    """Bouts of strokes with what each took from its blade.

    Attributes
    ----------
    bouts : pandas.DataFrame
        One row per good bout: ``instrument, bout, stone, way, ended, strokes, force_n [N],
        travel_mm [mm], operator, lost_mg [mg], u_mg [mg]`` (the balance's share of its standard
        uncertainty), ``readings_before, readings_after, trace_before, trace_after, note``. Force
        and travel are NaN where they were not measured. A bout of 0 strokes is a blank.
    rejected : pandas.DataFrame
        One row per refused cell, line, weighing or bout: ``file, line, column, value, reason,
        suggestion``.
    flags : pandas.DataFrame
        What looks odd but was left alone: ``file, line, reason, detail``.
    balance_sd_mg, balance_dof : float
        Standard deviation of one reading, pooled over repeats, and its degrees of freedom.
    digit_mg : float
        The balance's last digit, as the readings show it [mg].
    controlled : bool
        Whether each reading is a difference to a control blade.
    traces : mapping of str to Blade
        Traces that bouts name, by file.
    """

    bouts: pd.DataFrame
    rejected: pd.DataFrame
    flags: pd.DataFrame
    balance_sd_mg: float
    balance_dof: float
    digit_mg: float
    controlled: bool
    traces: Mapping[str, Blade]

    def __repr__(self) -> str:
        blanks = int((self.bouts["strokes"] == 0).sum())
        return (
            f"Weighings({len(self.bouts)} bouts of {self.bouts['instrument'].nunique()} "
            f"instruments, {blanks} of them blanks; balance ± {self.balance_sd_mg:.2g} mg a "
            f"reading; {len(self.rejected)} refused, {len(self.flags)} flags)"
        )

    def _repr_html_(self) -> str:
        return html_text(repr(self))


def read_weighings(
    weights: str | os.PathLike[str] | pd.DataFrame,
    strokes: str | os.PathLike[str] | pd.DataFrame,
    *,
    strict: bool = False,
) -> Weighings:
    """Read what blades weighed before and after bouts of strokes on a stone.

    Parameters
    ----------
    weights : path or pandas.DataFrame
        One row per reading: ``instrument, bout`` (1, 2, … of that instrument), ``state`` (before or
        after), ``mass_mg`` or ``mass_g``; optional ``repeat``, ``control_mg`` or ``control_g`` (a
        blade that nobody touches, read right before or after), ``note``.
    strokes : path or pandas.DataFrame
        One row per bout: ``instrument, bout, strokes`` (0 for a blank: all but the strokes);
        optional ``stone``, ``way`` (rolling, unless it says local), ``ended`` (counted, unless it
        says sharp), ``force_n``, ``travel_mm``, ``operator``, ``trace_before`` and ``trace_after``
        (files of `read_blade`, beside this one), ``note``.
    strict : bool
        Raise at the first refusal instead of listing it.

    Returns
    -------
    Weighings
        Separators, decimal marks and encodings as of `read_log`; lines that begin with # are
        remarks.

    Raises
    ------
    BadFile
        A source cannot be read as its table, or, with `strict`, a row is refused.
    EdgekitError
        No bout is left, or no weighing was repeated, so that the balance's repeatability is
        unknown.

    Notes
    -----
    Losses are differences of readings a short time apart, each against the control where there is
    one, so that zero, drift and the air's buoyancy cancel but for a relative 5e-6 (air 0.0012,
    steel 7.75, weights 8.0 g/cm³).

    Examples
    --------
    >>> import edgekit as ek
    >>> folder = "data_demo/weighings"
    >>> ek.clinic.read_weighings(f"{folder}/weights.csv", f"{folder}/strokes.csv").controlled
    True
    """
    checks.flag("strict", strict)
    readings, bouts = _weights(weights), sheets.read_sheet(strokes, _STROKES)
    grouped = _grouped(readings)
    traces = _traces(bouts, strokes)
    sd, dof, digit = _balance(grouped)
    kept = _kept(readings, bouts, grouped)
    rejected = _rejected(readings, bouts)
    if strict and len(rejected):
        raise first_refusal(rejected, f"{len(rejected)} refusals in all")
    if not kept:
        wrong = "" if rejected.empty else f"; the first refusal: {rejected['reason'].iloc[0]}"
        remedy = "Give each bout a row of strokes, and readings before and after it."
        raise EdgekitError(f"no bout can be used{wrong}", len(rejected), remedy)
    if dof < 1:
        what = "no weighing was repeated, so the balance's repeatability is not known"
        raise EdgekitError(what, readings.file, "Weigh each blade twice or more, and lift it off.")
    table = pd.DataFrame([_bout(row, grouped, sd) for row in kept])
    named = {*table["trace_before"], *table["trace_after"]}
    return Weighings(
        bouts=table.astype(dict.fromkeys(TEXTS, "str")),
        rejected=rejected,
        flags=_flags(readings, bouts, table),
        balance_sd_mg=sd,
        balance_dof=float(dof),
        digit_mg=digit,
        controlled="control_mg" in readings.columns,
        traces={name: blade for name, blade in traces.items() if name in named},
    )


class _Readings(list[dict[str, Any]]):
    """Readings of one weighing: one blade before or after one bout."""

    @property
    def net_mg(self) -> np.ndarray:
        return np.array([row["mass_mg"] - row["control_mg"] for row in self])


Grouped = dict[tuple[str, int, str], _Readings]


def _weights(source: sheets.Source) -> FilledForm:
    """The table of weights, in milligrams, every control in place of NaN."""
    try:
        sheet = sheets.read_sheet(source, _WEIGHTS)
    except BadFile as error:
        try:
            sheet = sheets.read_sheet(source, _IN_GRAMS)
        except BadFile:
            raise error from None
    names = {"mass_g": "mass_mg", "control_g": "control_mg"}
    rows = [{names.get(name, name): item for name, item in row.items()} for row in sheet.rows]
    some = [row for row in rows if not math.isnan(row["control_mg"])]
    if some and len(some) < len(rows):
        reason, remedy = "no control, though others have one", "read the control every time"
        for row in rows:
            if math.isnan(row["control_mg"]):
                sheet.refused.append(Refusal(row["line"], "control_mg", "", reason, remedy))
        rows = some
    columns = ("mass_mg", "control_mg") if some else ("mass_mg",)
    return sheet._replace(
        rows=rows if some else [row | {"control_mg": 0.0} for row in rows], columns=columns
    )


def _grouped(readings: FilledForm) -> Grouped:
    """Readings by weighing; those that contradict one another are refused."""
    found: Grouped = defaultdict(_Readings)
    for row in readings.rows:
        key = row["instrument"], row["bout"], row["state"]
        if row["repeat"] and any(row["repeat"] == other["repeat"] for other in found[key]):
            reason = f"repeat {row['repeat']} of {_named(*key)} stands there twice"
            remedy = "number the repeats, or remove the copy"
            shown = str(row["repeat"])
            readings.refused.append(Refusal(row["line"], "repeat", shown, reason, remedy))
        else:
            found[key].append(row)
    most = value("weighing_max_range_mg")
    for key, rows in list(found.items()):
        if (apart := float(np.ptp(rows.net_mg))) > most:
            reason = f"repeats of {_named(*key)} differ by {apart:.3g} mg"
            remedy = f"weigh again: a slip, or a balance that cannot tell {most:g} mg"
            line = rows[0]["line"]
            readings.refused.append(Refusal(line, "(weighing)", f"{apart:.4g}", reason, remedy))
            del found[key]
    return dict(found)


def _named(instrument: str, bout: int, state: str = "") -> str:
    return f"{instrument}, bout {bout}" + (f", {state}" if state else "")


def _balance(grouped: Grouped) -> tuple[float, int, float]:
    """Standard deviation of one reading [mg], its degrees of freedom, and the last digit [mg]."""
    off = [rows.net_mg - rows.net_mg.mean() for rows in grouped.values()]
    dof = sum(len(each) - 1 for each in off)
    if dof < 1:
        return 0.0, 0, 0.0
    sd = math.sqrt(sum(float(each @ each) for each in off) / dof)
    digit = _digit(np.array([row["mass_mg"] for rows in grouped.values() for row in rows]))
    return max(sd, digit * ROUNDED_SD), dof, digit


def _digit(readings: np.ndarray) -> float:
    """The step of a balance's readings [mg], from their decimals and what they all divide by."""
    for decimals in range(-1, MAX_DECIMALS):
        units = readings * 10.0**decimals
        if np.abs(units - units.round()).max() < 1e-4:
            break
    step = 1
    if len(readings) >= ENOUGH_READINGS:
        whole = (readings * 10.0**decimals).round().astype(np.int64)
        step = int(np.gcd.reduce(whole - whole[0]))
    return float((step if step in (2, 5) else 1) * 10.0**-decimals)


def _traces(bouts: FilledForm, source: sheets.Source) -> dict[str, Blade]:
    """Blades of the traces that bouts name; a bout whose trace cannot be read is refused."""
    blades: dict[str, Blade] = {}
    bad: dict[str, EdgekitError] = {}
    here = None if isinstance(source, pd.DataFrame) else file_path(source)
    rows = list(bouts.rows)
    bouts.rows.clear()
    for row in rows:
        for column in TRACES:
            name = row[column]
            if name and name not in blades and name not in bad:
                try:
                    blades[name] = read_blade(beside(here, name) if here else file_path(name))
                except EdgekitError as error:
                    bad[name] = error
        wrong = [(column, row[column]) for column in TRACES if row[column] in bad]
        for column, name in wrong:
            reason, remedy = bad[name].what, bad[name].remedy
            bouts.refused.append(Refusal(row["line"], column, name, reason, remedy))
        if not wrong:
            bouts.rows.append(row)
    return blades


def _kept(readings: FilledForm, bouts: FilledForm, grouped: Grouped) -> list[dict[str, Any]]:
    """Rows of bouts that have both weighings; all others are refused, as are spare weighings."""
    kept: dict[Key, dict[str, Any]] = {}
    known: Counter[Key] = Counter()
    for row in bouts.rows:
        key = row["instrument"], row["bout"]
        known[key] += 1
        missing = [state for state in (BEFORE, AFTER) if (*key, state) not in grouped]
        if known[key] > 1:
            _refuse(bouts, row, f"{_named(*key)} stands there twice", "give it another number")
        elif not row["stone"] and row["strokes"] and "stone" in bouts.columns:
            _refuse(bouts, row, f"no stone for {_named(*key)}", "name the stone")
        elif missing:
            reason = f"no usable weighing {' and '.join(missing)} {_named(*key)}"
            _refuse(bouts, row, reason, "weigh before and after every bout")
        else:
            kept[key] = row
    for (name, bout, state), rows in grouped.items():
        if (name, bout) not in known:
            reason = f"a weighing {state} {_named(name, bout)}, which has no usable row of strokes"
            _refuse(readings, rows[0], reason, "add the bout to the table of strokes")
    return list(kept.values())


def _refuse(sheet: FilledForm, row: dict[str, Any], reason: str, remedy: str) -> None:
    sheet.refused.append(
        Refusal(row["line"], "(bout)", _named(row["instrument"], row["bout"]), reason, remedy)
    )


def _bout(row: dict[str, Any], grouped: Grouped, sd: float) -> dict[str, Any]:
    """One row of the table of bouts."""
    before, after = (grouped[row["instrument"], row["bout"], state] for state in (BEFORE, AFTER))
    last = (*TRACES, "note")
    return {name: item for name, item in row.items() if name not in ("line", *last)} | {
        "lost_mg": float(before.net_mg.mean() - after.net_mg.mean()),
        "u_mg": sd * math.sqrt(1 / len(before) + 1 / len(after)),
        "readings_before": len(before),
        "readings_after": len(after),
        **{name: row[name] for name in last},
    }


def _rejected(*sheets_read: FilledForm) -> pd.DataFrame:
    """All refusals by file and line."""
    rows = [(sheet.file, *each) for sheet in sheets_read for each in sorted(sheet.refused)]
    return pd.DataFrame(rows, columns=["file", *Refusal._fields]).astype({"line": int})


def _flags(readings: FilledForm, bouts: FilledForm, table: pd.DataFrame) -> pd.DataFrame:
    """Notes on files, and bouts that made a blade heavier by more than the balance explains."""
    rows = [(sheet.file, *note) for sheet in (readings, bouts) for note in sheet.notes]
    gained = table[(table["strokes"] > 0) & (table["lost_mg"] < -3 * table["u_mg"])]
    for _, row in gained.iterrows():
        detail = f"{_named(row['instrument'], row['bout'])} gained {-row['lost_mg']:.3g} mg"
        rows.append((bouts.file, 0, "before and after exchanged, or not clean?", detail))
    return pd.DataFrame(rows, columns=["file", "line", "reason", "detail"]).astype({"line": int})
