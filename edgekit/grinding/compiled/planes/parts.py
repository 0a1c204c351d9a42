"""What compiled sessions of local strokes are given and work in: named rows (see `compiled.parts`).

Use, measures and what sessions come to have the rows of rolling strokes, but what is `seen` of a
session: the share still dull and the largest advance [mm]. Edges before it are those of `Before`,
with radii in µm.

Stations are filled up to a multiple of the lanes' width, P, with the last one again, of no length;
planes to a multiple of it, N. Sixteen stations that are computed at a time are a block, of which
there are B.
"""

# ruff: noqa: PYI024 - rows of arrays for the compiler, whose types it infers

from __future__ import annotations

from collections import namedtuple

# What all runs share: how many ``stations``, ``places`` (P), ``depths`` (V) and ``nodes`` (V * P)
# there are; per station (P,) the ``deepest`` node below the face, the ``weight`` of length, that of
# ``volume``, half the ``gap`` to the next, ``half`` the curvature in plan and the ``limit`` of
# insets; ``seen`` (9 * P), the components of position, face normal times the greatest depth, and
# outward direction; per depth (V,) its ``fraction`` of the greatest and the ``share`` of the depth
# that it stands for. Per block three ``axes`` (B * 9), along the edge, down the flank and out of
# it; ``boxed`` (9 * P), the components of ``seen`` along these; and of a box round the ``outward``
# directions the middle and half the size (B * 6).
Edge = namedtuple(
    "Edge",
    "stations places depths nodes deepest weight volume gap half limit seen fraction share axes "
    "boxed outward",
)

# How a method lays planes: how many ``planes`` there are at how many ``placements``, ``each``, and
# their ``rows`` (N); the arc ``reached`` (M + 1,) by ``shares`` (M) of the edge, ``even`` of which
# lie between placements; per station the ``aims`` (S * 6), the normal aimed at and the tangent; the
# ``spacing`` of stations, the edge's ``length`` and which ``side`` it is; the ``least`` share of
# the advance.
Lay = namedtuple(
    "Lay", "planes placements each rows reached shares even aims spacing length side least"
)

# When it stops: whether all planes advance ``alike``, what length of edge it can ``spare``, the
# ``largest`` advance, and what ``rounding`` can do to heights.
Stop = namedtuple("Stop", "alike spare largest rounding")

# Of each session (N,): errors that are ``common`` (N, 4) to it and their ``scatter`` (N, 4), the
# ``phase`` of placements; unit ``normals``, of which a session's lie from its one of ``starts``
# (N + 1,) on, ``apart`` from seating to seating (those of one more are fetched: any place will do);
# and the radius ``fresh`` that grinding leaves [µm].
Hand = namedtuple("Hand", "common scatter phase normals starts apart fresh")

# Edges after the last session of each run: ``field`` (R, V, S); ``angle``, ``cot``, ``radius``,
# ``land``, whether they are ``sharp`` (0 or 1) and the ``active`` plane (R, S).
After = namedtuple("After", "field angle cot radius land sharp active")

# Room for one session: ``pairs`` (B * N) of a block and a plane, as whole numbers; the ``field``
# (V * P); the middle and half the size of the ``box`` (B * 6) round a block; (B * N) the ``bound``
# of how high planes find blocks and that of how they are ``faced``; rows of planes (N,) from
# ``tilt`` to ``offset``, and (N * 16) the ``level`` and ``slope`` of their lines; ``need`` (2 * P)
# at stations and, one place further on, between them, with the ``length`` that each stands for;
# ``room`` for angles; others (P,), of which ``goal_x`` and so on are the places that are to be
# reached, and those from ``drop`` to ``area`` are as with rolling strokes, but for radii in µm.
Work = namedtuple(
    "Work",
    "pairs field box bound faced best tilt swing x y z along_x along_y along_z weight support "
    "advance offset level slope need length drop lean lean_cos lean_sin angle cot radius inset "
    "first area lowered goal goal_x goal_y goal_z dull ahead server sharp active room",
)
