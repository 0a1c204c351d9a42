"""Sessions of local strokes, compiled: planes laid, advanced and cut, one run after another."""

from __future__ import annotations

from typing import Any

from edgekit.grinding.compiled.lanes import compiled, row, rows
from edgekit.grinding.compiled.planes.advance import advance, needs
from edgekit.grinding.compiled.planes.cutting import finish
from edgekit.grinding.compiled.planes.laying import lay
from edgekit.grinding.compiled.planes.parts import (
    SEEN,
    After,
    Before,
    Edge,
    Hand,
    Lay,
    Stop,
    Work,
)
from edgekit.grinding.compiled.planes.seating import seat
from edgekit.grinding.compiled.planes.stations import begin
from edgekit.grinding.compiled.strokes import digest


@compiled
def session(
    edge: Edge,
    plan: Lay,
    stop: Stop,
    hand: Hand,
    before: Before,
    run: int,
    after: After,
    work: Work,
) -> None:
    """One session of a run."""
    fresh, seen = hand.fresh[run], row(after.seen, SEEN * run)
    begin(edge, before, run, fresh, work)
    lay(edge, plan, hand, run, work)
    seat(edge, plan, stop, work)
    needs(edge, stop, work)
    largest, reached = advance(edge, plan.planes, stop, work)
    finish(edge, plan, stop, fresh, run, work, after)
    seen[4], seen[5] = largest, 1.0 if reached else 0.0


def kept(text: str) -> Any:
    """The one function that is called from outside, kept on disk for this `text` of all
    functions."""

    def grind_runs(
        shared: Edge,
        plan: Lay,
        stop: Stop,
        hands: Hand,
        start: Before,
        end: After,
        room: Work,
    ) -> None:
        """Sessions of all runs."""
        if not text:
            return
        edge, planned, hand = rows(shared), rows(plan), rows(hands)
        before, after, work = rows(start), rows(end), rows(room)
        for run in range(len(hands.fresh)):
            session(edge, planned, stop, hand, before, run, after, work)

    return compiled(grind_runs, kept=True)


grind_runs = kept(digest())
