"""Sessions of local strokes, compiled: planes laid, advanced and cut, one run after another."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.cycle import dull, found, measure
from edgekit.grinding.compiled.lanes import compiled, row, rows
from edgekit.grinding.compiled.parts import (
    COUNT,
    MET,
    PATCHES,
    UNMET,
    Before,
    Done,
    Gauge,
    Use,
)
from edgekit.grinding.compiled.planes.advance import advance, needs
from edgekit.grinding.compiled.planes.cutting import finish
from edgekit.grinding.compiled.planes.laying import lay
from edgekit.grinding.compiled.planes.parts import After, Edge, Hand, Lay, Stop, Work
from edgekit.grinding.compiled.planes.seating import seat
from edgekit.grinding.compiled.planes.stations import begin, lay_out, put_back
from edgekit.grinding.compiled.strokes import TEXT


@compiled
def session(
    edge: Edge,
    plan: Lay,
    stop: Stop,
    hand: Hand,
    lowered: bool,
    done: Done,
    n: int,
    work: Work,
) -> None:
    """Session number `n` of an edge that has been laid out and begun."""
    lay(edge, plan, hand, n, work)
    seat(edge, plan, stop, work)
    needs(edge, stop, work)
    largest, reached = advance(edge, plan.planes, stop, work)
    seen, volume = row(done.seen, 3 * n), row(done.volume, 3 * n)
    seen[0] = finish(edge, plan, stop, hand.fresh[n], lowered, volume, work)
    seen[1], done.end[n] = largest, MET if reached else UNMET


def kept(text: str) -> Any:
    """The one function that is called from outside, kept on disk for this `text` of all
    functions."""

    def grind_runs(
        shared: Edge,
        start: Before,
        first: NDArray[np.int64],
        use: Use,
        gauge: Gauge,
        hands: Hand,
        plan: Lay,
        stop: Stop,
        often: FloatArray,
        end: After,
        came: Done,
        room: Work,
    ) -> None:
        """Sessions of all runs: of each those from its `first` on, up to that of the next run
        (R + 1,), with a use before each."""
        if not text:
            return
        edge, before, after, work = rows(shared), rows(start), rows(end), rows(room)
        used, measures, done = rows(use), rows(gauge), rows(came)
        hand, planned, lowered = rows(hands), rows(plan), before.lowered
        for run in range(len(first) - 1):
            lay_out(edge, before, run, work)
            for n in range(first[run], first[run + 1]):
                measured = row(done.measured, COUNT * n)
                dull(edge, used, row(often, PATCHES * n), 1.0, measured, work)
                begin(edge, lowered, hand.fresh[n], work)
                found(edge, measures, 1.0, measured, work)
                session(edge, planned, stop, hand, lowered, done, n, work)
                measure(edge, measures, measured, work)
            put_back(edge, after, run, work)

    return compiled(grind_runs, kept=True)


grind_runs = kept(TEXT)
