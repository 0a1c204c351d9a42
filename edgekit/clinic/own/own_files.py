"""A clinic's own three files, read together: what must change in them, in words, and the answers.

Nothing here raises for what is wrong in a file: a person who fills in forms wants all of it at
once, each with its place and what to do, and the answers that can be given all the same.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import field
from pathlib import PurePath
from typing import TypeVar

import numpy as np
import pandas as pd

from edgekit import checks
from edgekit.clinic.bench.by_sheet import practised
from edgekit.clinic.bench.plan import BenchPlan, plan_bench
from edgekit.clinic.cost.budget import budget
from edgekit.clinic.cost.prices import Prices, read_prices
from edgekit.clinic.forecasting.forecast import Forecast, forecast
from edgekit.clinic.log.cells import look_alike
from edgekit.clinic.log.history import ServiceStatus
from edgekit.clinic.log.log import Log, read_log
from edgekit.clinic.sheet.how_to import minutes_words
from edgekit.clinic.sheet.set_up import riser_words, setting_words, within_words
from edgekit.clinic.sheet.writing import SheetPage, setting_sheet, sheet
from edgekit.clinic.tray import read_tray
from edgekit.contact.holder import Holder
from edgekit.display import escaped, html_table, html_text
from edgekit.errors import BadFile, EdgekitError
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade
from edgekit.life.retire import MaxWidthLoss, MinWidth
from edgekit.record import Record

__all__ = ["Answer", "ClinicFiles", "read_clinic"]

COLUMNS = ["file", "line", "column", "value", "problem", "change"]
HEADINGS = ["file", "first in line", "column", "it says", "what is wrong", "what to do", "times"]
SHORT = 40  # letters of a cell that are repeated
SHOWN = 15  # kinds of problem that are shown; the table has them all
SOON = 1.0  # sessions: what may reach its limit within one is urgent
HOUR = 60.0
Item = TypeVar("Item")
Path = str | os.PathLike[str]


class Answer(Record):
    """One answer to show: sentences and a table, or the sentences that say why there is none.

    Attributes
    ----------
    title : str
    words : tuple of str
        Whole sentences.
    table : pandas.DataFrame
        Empty where there is no answer.
    plan : BenchPlan or None
        Of the hour at the bench.
    log, retire : Log, MaxWidthLoss or MinWidth, or None
        Where the setting sheet of that plan reads last widths and limits.
    """

    title: str
    words: tuple[str, ...]
    table: pd.DataFrame = field(default_factory=pd.DataFrame)
    plan: BenchPlan | None = None
    log: Log | None = None
    retire: MaxWidthLoss | MinWidth | None = None

    def __repr__(self) -> str:
        return f"{self.title}: {' '.join(self.words)}"[:390]

    def _repr_html_(self) -> str:
        said = "".join(html_text(word) for word in self.words)
        return f"{html_text('', bold=self.title)}{said}{_html(self.table, self.title)}"

    def sheet(
        self,
        path: Path,
        *,
        title: str = "Setting sheet",
        handle_diameter_mm: float | None = None,
    ) -> SheetPage | Answer:
        """Write the setting sheet of the plan over what stands there, and show it.

        Parameters
        ----------
        path, title, handle_diameter_mm
            As of `edgekit.setting_sheet`.

        Returns
        -------
        SheetPage or Answer
            The page, or the sentence that says why there is none.
        """
        words = ("There is no sheet, because there is no plan.", *self.words)
        if self.plan is not None:
            mm, log, limit = handle_diameter_mm, self.log, self.retire
            try:
                page = sheet(self.plan, title=title, handle_diameter_mm=mm, log=log, retire=limit)
                setting_sheet(
                    self.plan,
                    path,
                    title=title,
                    handle_diameter_mm=mm,
                    log=log,
                    retire=limit,
                    replace=True,
                )
                return page
            except EdgekitError as error:
                words = (_said(error),)
        return Answer(title="Setting sheet", words=words)


class ClinicFiles(Record):
    """A tray list, a log and a price table as they were read, and all that is wrong in them.

    Attributes
    ----------
    tray : mapping of code to Blade
        Empty where the list could not be read.
    log : Log or None
    prices : Prices or None
    problems : pandas.DataFrame
        One row per fault: ``file, line, column, value, problem, change``. Line 0 stands for the
        whole file. ``change`` is a sentence that says what to do.
    """

    tray: Mapping[str, Blade]
    log: Log | None
    prices: Prices | None
    problems: pd.DataFrame

    def __repr__(self) -> str:
        return " ".join(self._headline())

    def _headline(self) -> list[str]:
        log, prices = self.log, self.prices
        read = f"{len(log.rows)} lines of the log" if log is not None else "no log"
        costs = f"prices in {prices.currency}" if prices is not None else "no prices"
        lines = [f"Read: {len(self.tray)} instruments of the tray, {read}, {costs}."]
        if len(self.problems):
            lines.append(f"{len(self.problems)} things to change or to look at.")
        return lines

    def _repr_html_(self) -> str:
        kinds = self.problems.assign(kind=self.problems["problem"].map(_kind))
        first = kinds.groupby(["file", "column", "kind"], sort=False).first()
        count = kinds.groupby(["file", "column", "kind"], sort=False).size()
        table = first.assign(lines=count).reset_index().drop(columns="kind")
        table = table[["file", "line", "column", "value", "problem", "change", "lines"]]
        table.columns = pd.Index(HEADINGS)
        more = f"And {len(table) - SHOWN} kinds more." if len(table) > SHOWN else ""
        said = "".join(html_text(word) for word in self._headline())
        return (
            f"{said}{_html(table.head(SHOWN), 'What to change')}{html_text(more) if more else ''}"
        )

    def replacement_list(self, *, retire: MinWidth | MaxWidthLoss | None = None) -> Answer:
        """Instruments that may reach their limit within a session, worst first, with prices.

        Parameters
        ----------
        retire : MinWidth or MaxWidthLoss, optional
            The limit; 20 % of the first reading by default (published, Murray et al. 1984).

        Returns
        -------
        Answer
            ``instrument, edge`` (the one that decides), ``pattern, sessions left`` with low and
            high (90 %), ``at its limit by`` (the latest date), ``price``.
        """
        title = "Replacement list"
        found = self._forecast(MaxWidthLoss() if retire is None else retire)
        if isinstance(found, str):
            return Answer(title=title, words=(found,))
        table = _due(found, self.prices)
        first = (
            f"{len(table)} of {found.table['instrument'].nunique()} instruments may reach their "
            f"limit, {found.retire}, within {SOON:g} session of {found.as_of}, the last day of "
            "the log."
        )
        caution = f"{found.caution[:1].upper()}{found.caution[1:]}." if found.caution else ""
        words = (first, caution, _try(lambda: self._year(found)))
        return Answer(title=title, words=tuple(filter(None, words)), table=table)

    def hour(
        self,
        *,
        minutes_available: float = HOUR,
        tolerance_deg: float = value("tolerance_deg"),
        setting_error_deg: float = value("bench_setting_error_deg"),
        holder: Holder | None = None,
        retire: MinWidth | MaxWidthLoss | None = None,
    ) -> Answer:
        """The plan of an hour at the bench, with what is due in the log done first.

        Parameters
        ----------
        minutes_available, tolerance_deg, setting_error_deg, holder
            As of `edgekit.plan_bench`.
        retire : MinWidth or MaxWidthLoss, optional
            As of `replacement_list`: what it names is done first.

        Returns
        -------
        Answer
            With ``plan``, for `edgekit.setting_sheet`; its table is the settings in order.
        """
        title = "At the bench"
        if not self.tray:
            words = ("There is no plan, because the tray list has no instrument that can be read.",)
            return Answer(title=title, words=words)
        due = self._forecast(MaxWidthLoss() if retire is None else retire)
        urgent = [] if isinstance(due, str) else _due(due, None)["instrument"].tolist()
        try:
            plan = plan_bench(
                self.tray,
                minutes_available=minutes_available,
                tolerance_deg=tolerance_deg,
                setting_error_deg=setting_error_deg,
                holder=holder,
                urgent=[code for code in self.tray if code in urgent],
            )
        except EdgekitError as error:
            return Answer(title=title, words=(_said(error),))
        said, table = _hour_words(plan), _settings(plan)
        return Answer(title=title, words=said, table=table, plan=plan, log=self.log, retire=retire)

    def _forecast(self, retire: MinWidth | MaxWidthLoss) -> Forecast | str:
        """The forecast, or why there is none."""
        log = self.log
        if log is None:
            return "There is no list, because the log could not be read."
        return _try(lambda: forecast(log, retire=retire))

    def _year(self, found: Forecast) -> str:
        """What the coming year asks for."""
        if self.prices is None:
            return "No costs, because the price table could not be read."
        total = budget(found, prices=self.prices).total
        low, high = total["replacements_low"], total["replacements_high"]
        return (
            f"The coming year asks for {total['replacements']:.0f} replacements ({low:.0f} to "
            f"{high:.0f}) and {total['cost']:.0f} {self.prices.currency} ({total['cost_low']:.0f} "
            f"to {total['cost_high']:.0f}) with sharpening."
        )


def read_clinic(*, tray: Path, log: Path, prices: Path, day_first: bool = False) -> ClinicFiles:
    """Read a clinic's own files, filled in from ``data_demo/templates``, and say what must change.

    Parameters
    ----------
    tray, log, prices : path
        As `edgekit.read_tray`, `edgekit.read_log` and `edgekit.read_prices` take them.
    day_first : bool
        Every date of the log is day first, such as 31/12/2025.

    Returns
    -------
    ClinicFiles

    Raises
    ------
    BadArgument
        Not a path; `day_first` is neither true nor false. What is wrong in a file is not raised,
        but listed.

    Examples
    --------
    >>> import edgekit as ek
    >>> clinic = ek.clinic.read_clinic(tray="tray.csv", log="missing.csv", prices="prices.csv")
    >>> clinic.problems.loc[1, "change"]
    'Check the path.'
    """
    checks.flag("day_first", day_first)
    for name, path in (("tray", tray), ("log", log), ("prices", prices)):
        checks.instance(name, path, (str, os.PathLike), "Give the path of a file.")
    rows: list[tuple[object, ...]] = []
    blades = _read(lambda: read_tray(tray), rows)
    if blades is not None and not blades:
        rows.append((_name(tray), 0, "", "", "no instrument", "Write a line for each instrument."))
    seen = _read(lambda: read_log(log, day_first=day_first), rows)
    costs = _read(lambda: read_prices(prices), rows)
    if seen is not None:
        rows += _log_problems(seen)
        rows += _unlike(blades or {}, seen, _name(tray))
        rows += [] if costs is None else _no_price(seen, costs, _name(prices))
    problems = pd.DataFrame(rows, columns=COLUMNS).astype({"line": int})
    return ClinicFiles(tray=blades or {}, log=seen, prices=costs, problems=problems)


def _read(reader: Callable[[], Item], rows: list[tuple[object, ...]]) -> Item | None:
    """What a reader gives; None where it fails, and a row that says why."""
    try:
        return reader()
    except BadFile as error:
        shown = "" if error.value is None else str(error.value)[:SHORT]
        column = error.column or ""
        rows.append((error.file, error.line or 0, column, shown, error.what, error.remedy))
    except EdgekitError as error:
        rows.append(("", 0, "", str(error.value)[:SHORT], error.what, error.remedy))
    return None


def _log_problems(log: Log) -> list[tuple[object, ...]]:
    """Refused cells of a log, what contradicts something else, and a log without a line."""
    refused = [
        (
            log.file,
            r["line"],
            r["column"],
            r["value"][:SHORT],
            r["reason"],
            _advice(r["suggestion"]),
        )
        for r in log.rejected.to_dict("records")
    ]
    doubts = [
        (row.file, row.line, row.edge, row.instrument, row.reason, f"Look at it: {row.detail}.")
        for row in log.flags.itertuples()
        if row.instrument
    ]
    empty = (log.file, 0, "", "", "the log has no good line", "Write a line for each event.")
    return [*refused, *doubts, *([] if len(log.rows) else [empty])]


def _advice(suggestion: str) -> str:
    """A suggestion as a sentence."""
    if suggestion.endswith("?"):
        return f"Did you mean {suggestion}"
    return f"{suggestion[:1].upper()}{suggestion[1:].rstrip('.')}." if suggestion else "Change it."


def _unlike(blades: Mapping[str, Blade], log: Log, file: str) -> list[tuple[object, ...]]:
    """Instruments of the tray that the log does not name, or writes in another way."""
    named = {look_alike(code): code for code in log.rows["instrument"]}
    known = set(log.rows["instrument"])
    rows: list[tuple[object, ...]] = []
    for code in blades:
        other = named.get(look_alike(code))
        if code in known or not known:
            continue
        problem = "no line of the log has this instrument"
        change = "Check its code, or write its readings into the log."
        if other is not None:
            problem, change = f"the log writes {other}", "Write its code alike in both files."
        rows.append((file, 0, "instrument", code, problem, change))
    return rows


def _no_price(log: Log, prices: Prices, file: str) -> list[tuple[object, ...]]:
    """Patterns of the log that no price is given for."""
    patterns = sorted(set(log.rows["pattern"]) - {""} - set(prices.instrument))
    change = "Add a line instrument with this name, or one with an empty name for all others."
    return [
        (file, 0, "name", pattern, "no price of this pattern", change)
        for pattern in (patterns if "" not in prices.instrument else ())
    ]


def _due(found: Forecast, prices: Prices | None) -> pd.DataFrame:
    """Instruments in use that may reach their limit within a session, by their worst edge."""
    table = found.table[found.table["status"] == ServiceStatus.IN_USE]
    table = table.sort_values(["sessions_left", "sessions_left_low"], kind="stable")
    table = table[table["sessions_left_low"] < SOON].drop_duplicates("instrument")
    shown = table[["instrument", "edge", "pattern"]].reset_index(drop=True)
    for name, column in (("at least", "_low"), ("sessions left", ""), ("at most", "_high")):
        shown[name] = table[f"sessions_left{column}"].round(1).to_numpy()
    shown["at its limit by"] = table["retire_on_high"].dt.strftime("%Y-%m-%d").to_numpy()
    if prices is not None:
        default = prices.instrument.get("", np.nan)
        shown[f"price, {prices.currency}"] = [
            prices.instrument.get(pattern, default) for pattern in shown["pattern"]
        ]
    return shown


def _settings(plan: BenchPlan) -> pd.DataFrame:
    """The settings in order, in the words of the sheet."""
    error, shown = plan.setting_error_deg, plan.settings
    pivot = math.nan if plan.holder is None else plan.holder.pivot_height_mm
    return pd.DataFrame(
        {
            "in order": shown["run"],
            "handle to stone": shown["elevation_deg"].map(setting_words),
            "holder may stand": shown["within_deg"].map(lambda room: within_words(room, error)),
            "under the stone": [riser_words(riser, pivot) for riser in shown["riser_mm"]],
            "edges": shown["edges"],
        }
    )


def _hour_words(plan: BenchPlan) -> tuple[str, ...]:
    """What the hour holds, beside common practice, and what is left."""
    middle, _, long = practised(plan)
    planned, every = int(plan.edges["planned"].sum()), len(plan.edges)
    urgent = plan.edges.loc[plan.edges["urgent"], "instrument"].unique()
    first = f" First: {', '.join(urgent)}, close to the limit." if len(urgent) else ""
    trays = (
        f"An hour of somebody practised holds {HOUR / middle:.1f} such trays, to be safe "
        f"{HOUR / long:.1f}."
        if middle > 0
        else ""
    )
    limit = "" if plan.minutes_available is None else f"In {plan.minutes_available:g} minutes: "
    done = f"{limit}{planned} of {every} edges at {len(plan.settings)} settings.{first}"
    return (done, *minutes_words(plan), *filter(None, [trays]))


def _try(answer: Callable[[], Item]) -> Item | str:
    """An answer, or the sentence of the error that prevents it."""
    try:
        return answer()
    except EdgekitError as error:
        return _said(error)


def _said(error: EdgekitError) -> str:
    """An error as a sentence."""
    shown = f" ({str(error.value)[:SHORT]})" if str(error.value) else ""
    return f"{error.what[:1].upper()}{error.what[1:]}{shown}. {error.remedy}"


def _kind(problem: str) -> str:
    """A problem without its numbers, to count those that are alike."""
    return re.sub(r"[\d.,:−-]+", "#", problem)


def _name(path: Path) -> str:
    return PurePath(path).name


def _html(table: pd.DataFrame, label: str) -> str:
    """A table for a notebook, which scrolls where it is wide; nothing where it is empty."""
    if table.empty:
        return ""
    scroll = f'role="region" aria-label="{escaped(label)}" tabindex="0" style="overflow-x:auto"'
    cells = [[_cell(value) for value in row] for row in table.to_numpy(dtype=object)]
    return f"<div {scroll}>{html_table(list(table.columns), cells)}</div>"


def _cell(value: object) -> str:
    """A value as people write it; nothing where it is missing."""
    if isinstance(value, float):
        return "" if np.isnan(value) else f"{value:g}"
    return str(value)
