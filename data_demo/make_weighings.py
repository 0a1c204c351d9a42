"""Make the weighings of the invented Fernhollow clinic: blanks, counted strokes, sessions two ways.

Everything here is invented: the clinic, its blades, its balance and what a stroke takes. Run the
script from anywhere; it writes the same files every time, into `weighings` beside itself or into
the folder named on the command line. `tables` makes the same experiment again from another seed.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from edgekit.files import write_file

sys.path.insert(0, str(Path(__file__).resolve().parent))
import make_traces

SEED = 20_260_303
FOLDER = Path(__file__).resolve().parent / "weighings"
REMARK = "INVENTED demo data: Fernhollow College teaching clinic. Nothing here was weighed."
DENSITY = 7.75  # mg/mm³
MG_PER_UM = 0.026  # of the traced blade's width


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What the invented experiment is made from."""

    stone: str = "bench stone"
    mm3_per_stroke: float = 1.45e-3
    density: float = DENSITY
    blade_cv: float = 0.12  # between blades
    bout_cv: float = 0.05  # between bouts of one blade
    strokes: Mapping[str, float] = None  # type: ignore[assignment]
    cleaning_mg: float = 0.006  # lost in every bout, with strokes or without
    cleaning_sd_mg: float = 0.008
    left_mg: float = 0.0
    balance_sd_mg: float = 0.012
    drift_mg: float = 0.05  # of the zero, from one weighing to the next
    digit_mg: float = 0.01
    blades: int = 10
    repeats: int = 3
    counted: Sequence[int] = (50,)  # strokes of the counted bouts, taken in turn
    blanks: bool = True
    control: bool = True

    def __post_init__(self) -> None:
        if self.strokes is None:  # until sharp, by way
            object.__setattr__(self, "strokes", {"rolling": 14.0, "local": 44.0})


class Made(NamedTuple):
    """The two tables, and each bout's steel as it was drawn [mg]."""

    weights: pd.DataFrame
    bouts: pd.DataFrame
    steel_mg: list[float]


def tables(rng: np.random.Generator, truth: Truth = Truth()) -> Made:
    """The experiment: on each blade a blank, a counted bout, and a session until sharp one way."""
    weights: list[dict[str, object]] = []
    bouts: list[dict[str, object]] = []
    steel = []
    mass, control = rng.uniform(15_000, 19_000, truth.blades), rng.uniform(15_000, 19_000)
    for number in range(truth.blades):
        code = f"FW-{number + 1:02d}"
        own = truth.mm3_per_stroke * truth.density * (1 + truth.blade_cv * rng.standard_normal())
        way = "local" if number % 2 else "rolling"
        plan = [("rolling", "counted", 0)] * truth.blanks
        plan.append(("rolling", "counted", truth.counted[number % len(truth.counted)]))
        sharp = max(3, round(truth.strokes[way] * rng.lognormal(-0.03, 0.25)))
        plan.append((way, "sharp", sharp))
        for bout, (travel, ended, strokes) in enumerate(plan, start=1):
            taken = strokes * own * (1 + truth.bout_cv * rng.standard_normal())
            left = truth.left_mg if strokes else 0.0
            handled = truth.cleaning_mg + truth.cleaning_sd_mg * rng.standard_normal()
            key = {"instrument": code, "bout": bout}
            weights += _weighed(rng, truth, key | {"state": "before"}, mass[number], control)
            mass[number] -= taken - left + handled
            weights += _weighed(rng, truth, key | {"state": "after"}, mass[number], control)
            mass[number] -= left
            stone = {"stone": truth.stone if strokes else "", "way": travel, "ended": ended}
            bouts.append(key | stone | {"strokes": strokes, "operator": "A"})
            steel.append(taken)
    return Made(pd.DataFrame(weights), pd.DataFrame(bouts), steel)


def _weighed(
    rng: np.random.Generator, truth: Truth, key: Mapping[str, object], mass: float, control: float
) -> list[dict[str, object]]:
    """Readings of one weighing: the control, then the blade, both under the zero of the moment."""
    rows = []
    sd = truth.balance_sd_mg / math.sqrt(2) if truth.control else truth.balance_sd_mg
    for repeat in range(1, truth.repeats + 1):
        zero = truth.drift_mg * rng.standard_normal() * truth.control
        shown = {"mass_mg": mass + zero, "control_mg": control + zero}
        noisy = {name: item + sd * rng.standard_normal() for name, item in shown.items()}
        digits = {
            name: round(item / truth.digit_mg) * truth.digit_mg for name, item in noisy.items()
        }
        read = {name: round(item, 6) for name, item in digits.items()}
        rows.append({**key, "repeat": repeat, **read})
        if not truth.control:
            del rows[-1]["control_mg"]
    return rows


def drawn(rng: np.random.Generator, truth: Truth = Truth()) -> Truth:
    """A truth with what the evidence table does not know exactly drawn from its spread."""
    return replace(truth, density=rng.normal(DENSITY, 0.05), left_mg=rng.normal(0.0, 0.003))


def text(table: pd.DataFrame, digits: int) -> str:
    """A table as CSV with a remark in front."""
    return f"# {REMARK}\n" + table.to_csv(
        index=False, float_format=f"%.{digits}f", lineterminator="\n"
    )


def traces(folder: Path, made: Made) -> None:
    """Trace two blades before and after their counted bout, and name the files in its row."""
    job = make_traces.jobs()[1]
    for code in ("FW-01", "FW-02"):
        row = made.bouts.index[(made.bouts["instrument"] == code) & (made.bouts["bout"] == 2)][0]
        lost = made.steel_mg[row] / MG_PER_UM
        for when, worn in (("before", 0.0), ("after", lost)):
            name = f"{code}_{when}"
            blade = replace(job.blade, name=name)
            state = replace(job, blade=blade, worn_um=worn, note=f"{job.note}, {when} 50 strokes")
            points = make_traces.digitise(state, np.random.default_rng([SEED, row, int(worn > 0)]))
            remark = f"make_traces.py, seed {make_traces.SEED}", f"make_weighings.py, seed {SEED}"
            table = make_traces.table_text(points).replace(*remark)
            write_file(folder / f"{name}.csv", table, replace=True)
            write_file(folder / f"{name}.toml", make_traces.settings_text(state), replace=True)
            made.bouts.loc[row, f"trace_{when}"] = f"{name}.toml"


def messy(made: Made) -> tuple[str, str]:
    """The same two tables as people fill them in: each slip is refused, or read, by name."""
    weights = text(made.weights.head(30), 2).splitlines()
    strokes = text(made.bouts.head(5).drop(columns=["trace_before", "trace_after"]), 2).splitlines()
    cells = [line.split(",") for line in weights[1:]]
    cells[3][4] = cells[3][4].replace(".", "")  # a point left out
    cells[9][3] = "1"  # a repeat twice
    cells[14][5] = ""  # no control
    cells[20][2] = "afterwards"
    cells[27][4] = f"{float(cells[27][4]) + 9:.2f}"  # digits exchanged
    swapped = [";".join(row).replace(".", ",") for row in cells]
    rows = [line.split(",") for line in strokes[1:]]
    rows[4][5] = "fifty"
    return "\n".join([weights[0], *swapped, ""]), "\n".join(
        [
            strokes[0],
            *(",".join(row) for row in rows),
            "FW-09,2,bench stone,rollin,counted,50,A",
            "",
        ]
    )


def make(folder: Path) -> None:
    """Write the tables, two traced blades, the messy tables and the truth."""
    folder.mkdir(parents=True, exist_ok=True)
    truth = Truth()
    made = tables(np.random.default_rng(SEED), truth)
    traces(folder, made)
    made.bouts["note"] = "invented"
    files = {"weights.csv": text(made.weights, 2), "strokes.csv": text(made.bouts, 2)}
    files["weights_messy.csv"], files["strokes_messy.csv"] = messy(made)
    known = {"mm3_per_stroke": truth.mm3_per_stroke, "density_mg_per_mm3": truth.density}
    files["truth.csv"] = text(pd.DataFrame([known]), 6)
    for name, content in files.items():
        write_file(folder / name, content, replace=True)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
