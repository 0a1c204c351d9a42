"""The sharpening methods in common use, each with its guide and errors.

Each function returns a frozen `Method`; `dataclasses.replace` changes a copy. Print one to read
its assumptions. Every default is in the evidence table.
"""

from collections.abc import Sequence
from dataclasses import replace

from edgekit.contact.facets import Spacing
from edgekit.contact.holder import Setting
from edgekit.evidence_table import entry, value
from edgekit.method.abrasive import diamond_plated_stone
from edgekit.method.guide import HoldElevation
from edgekit.method.hand import ErrorTerm, Hand
from edgekit.method.lay import HolderStroke, Oblique
from edgekit.method.method import Marks, Method, Stop, Target

__all__ = ["bench_stone", "face_honing", "freehand", "held", "powered"]

PLACEMENTS = int(value("placements"))
ROLLED = int(value("rolled_placements"))


def _free_hand(*, novice: bool = False) -> Hand:
    who = "novice" if novice else "freehand"
    return Hand(
        tilt_deg=ErrorTerm(
            person_sd=value(f"{who}_tilt_bias_sd_deg"),
            sd=value(f"{who}_tilt_sd_deg"),
            sd_gsd=entry("freehand_tilt_sd_deg").gsd,
        ),
        swing_deg=ErrorTerm(sd=value("freehand_swing_sd_deg")),
        position_mm=ErrorTerm(sd=value("position_sd_mm")),
        depth=ErrorTerm(sd=value("depth_cv")),
    )


def _guided_hand() -> Hand:
    return Hand(
        tilt_deg=ErrorTerm(session_sd=value("guided_tilt_sd_deg"), sd=value("jitter_deg")),
        swing_deg=ErrorTerm(sd=value("guided_swing_sd_deg")),
        position_mm=ErrorTerm(sd=value("guided_position_sd_mm")),
        depth=ErrorTerm(sd=value("guided_depth_cv")),
    )


def freehand(
    *,
    placements: int = PLACEMENTS,
    spacing: Spacing = Spacing.BY_CURVATURE,
    marks: Marks = Marks.RANDOM,
    seatings: int = int(value("freehand_seatings")),
    stop: Stop = Stop.EACH,
    novice: bool = False,
    hand: Hand | None = None,
) -> Method:
    """A stone moved by hand over an instrument held still; the angle is judged by eye.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.methods.freehand(placements=8).planes
    32
    """
    return Method(
        name="freehand, moving stone" + (", novice" if novice else ""),
        placements=placements,
        spacing=spacing,
        marks=marks,
        seatings=seatings,
        stop=stop,
        hand=_free_hand(novice=novice) if hand is None else hand,
    )


def bench_stone(
    *,
    placements: int = PLACEMENTS,
    spacing: Spacing = Spacing.BY_CURVATURE,
    marks: Marks = Marks.RANDOM,
    seatings: int = int(value("freehand_seatings")),
    stop: Stop = Stop.EACH,
    hand: Hand | None = None,
) -> Method:
    """An instrument moved by hand over a stone that lies still; the hand rests on the bench.

    The rest reduces the scatter; each person's bias in the angle remains.
    """
    free, steady = _free_hand(), _guided_hand()
    rested = replace(
        free,
        tilt_deg=ErrorTerm(person_sd=free.tilt_deg.person_sd, sd=value("guided_tilt_sd_deg")),
        swing_deg=steady.swing_deg,
    )
    return Method(
        name="bench stone, moving instrument",
        placements=placements,
        spacing=spacing,
        marks=marks,
        seatings=seatings,
        stop=stop,
        hand=rested if hand is None else hand,
    )


def held(
    setting: Setting | float | Sequence[Setting | float],
    *,
    placements: int | None = None,
    spacing: Spacing = Spacing.BY_CURVATURE,
    marks: Marks = Marks.SAME,
    stop: Stop = Stop.ALL,
    hand: Hand | None = None,
) -> Method:
    """A holder at one elevation (or several in turn), rolled continuously or to counted placements.

    Parameters
    ----------
    setting : Setting, float or sequence of them
        Elevation [deg] or a setting found by `best_setting` or `settings_needed`.
    placements : int, optional
        Placements per edge; None rolls continuously, which is approximated by enough placements to
        converge.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.methods.held(15.0, placements=12).name
    'held at 15.0°, 12 placements'
    """
    guide = HoldElevation.of(setting)
    angles = ", ".join(f"{angle:.1f}°" for angle in guide.elevations_deg)
    if guide.setups > 2:
        angles = f"{guide.setups} settings"
    how = "rolled" if placements is None else f"{placements} placements"
    return Method(
        name=f"held at {angles}, {how}",
        guide=guide,
        placements=ROLLED if placements is None else placements,
        spacing=spacing,
        marks=marks,
        stop=stop,
        hand=_guided_hand() if hand is None else hand,
        setup_seconds=value("holder_setup_seconds"),
        stroke=HolderStroke(),
    )


def powered(
    *,
    placements: int = PLACEMENTS,
    spacing: Spacing = Spacing.BY_CURVATURE,
    marks: Marks = Marks.RANDOM,
    hand: Hand | None = None,
) -> Method:
    """A driven stone against a guide: steady angle, fast, hard to stop at the right depth."""
    driven = replace(_guided_hand(), depth=ErrorTerm(sd=value("powered_depth_cv")))
    return Method(
        name="powered stone, guided",
        placements=placements,
        spacing=spacing,
        marks=marks,
        seatings=int(value("powered_seatings")),
        stop=Stop.EACH,
        hand=driven if hand is None else hand,
        removal_mm3_per_stroke=value("removal_diamond_mm3_per_stroke"),
        removal_gsd=entry("removal_diamond_mm3_per_stroke").gsd,
        seconds_per_stroke=value("powered_seconds_per_stroke"),
        abrasive=diamond_plated_stone(),
    )


def face_honing(*, hand: Hand | None = None) -> Method:
    """The face ground instead of the sides, with one plane for the whole blade.

    Width falls by 2 d cotβ for a depth d, which is cosβ times the loss from grinding both
    sides; the cost is thickness. The swing error is here the pitch of the stone along the
    blade. The stone is assumed to follow the face along its bow, which on a hollow face needs a
    rod or cone.
    """
    steady = _guided_hand()
    return Method(
        name="face honing",
        target=Target.FACE,
        placements=1,
        stroke=Oblique(angle_deg=value("face_stroke_lay_deg")),
        hand=hand
        or Hand(tilt_deg=steady.tilt_deg, swing_deg=ErrorTerm(sd=value("honing_pitch_sd_deg"))),
    )
