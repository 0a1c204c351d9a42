"""The sharpening methods in common use, each with its guide and errors.

Each function returns a frozen `Method`; `dataclasses.replace` changes a copy. Print one to read
its assumptions. Every default is in the evidence table.
"""

from collections.abc import Sequence
from dataclasses import replace

from edgekit import checks
from edgekit.contact.holder import Setting
from edgekit.evidence_table import entry, value
from edgekit.lazy import shown
from edgekit.method.abrasive import diamond_plated_stone
from edgekit.method.guide import HoldElevation
from edgekit.method.hand import ErrorTerm, Hand
from edgekit.method.lay import HolderStroke, Oblique, StrokeDirection
from edgekit.method.method import Method, Target
from edgekit.method.stop import StopRule, UntilClear, UntilFresh
from edgekit.method.strokes import Advance, LocalStroke, PlacementPhase, RollingStroke, Stroke

__all__ = ["bench_stone", "face_honing", "freehand", "held", "powered"]

__dir__ = shown(__all__)


def _free_hand(*, novice: bool = False) -> Hand:
    who = "novice" if novice else "freehand"
    return Hand(
        tilt_deg=ErrorTerm(
            bias=value("novice_tilt_bias_deg") if novice else 0.0,
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
    stroke: Stroke | LocalStroke | None = None,
    stop: StopRule | None = None,
    novice: bool = False,
    hand: Hand | None = None,
) -> Method:
    """A stone moved by hand over an instrument held still; the angle is judged by eye.

    Nobody has published how a freehand angle errs at this work; the defaults are analogues,
    manual drilling (Brioschi et al. 2016) and crown preparation by students (Virdee et al. 2018),
    assumed with a wide spread: see `evidence`.

    Parameters
    ----------
    stroke : Stroke or LocalStroke, optional
        How the stone travels: rolled along the whole edge by default, since 98.9 % of the power of
        a hand's motion lies below 2 Hz (Riviere, Rader & Khosla 1997) and dozens of independent
        seatings in some seconds are impossible; `ek.strokes.local()` is the beginner's.
    stop : StopRule, optional
        When grinding stops: until the land is a fresh edge's; local strokes, until the edge is
        clear.
    novice : bool
        A hand that has not learnt the angle: it errs more, and to one side.
    hand : Hand, optional
        Errors of your own; then `novice` only names the method.

    Returns
    -------
    Method

    Raises
    ------
    BadArgument
        An argument of the wrong kind.
    EdgekitError
        Local strokes with another stop rule than `ek.strokes.until_clear()`.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.methods.freehand(stroke=ek.strokes.local(placements=8)).planes
    32
    """
    return _by_hand(
        "freehand, moving stone" + (", novice" if checks.flag("novice", novice) else ""),
        _free_hand(novice=novice) if hand is None else hand,
        stroke,
        stop,
    )


def _chosen(stop: StopRule | None, default: StopRule) -> StopRule:
    return default if stop is None else stop


def _by_hand(
    name: str, hand: Hand, stroke: Stroke | LocalStroke | None, stop: StopRule | None
) -> Method:
    way = RollingStroke() if stroke is None else stroke
    rule = UntilClear() if isinstance(way, LocalStroke) else UntilFresh()
    if isinstance(way, LocalStroke):
        name += ", local strokes"
    return Method(name=name, stroke=way, stop=_chosen(stop, rule), hand=hand)


def bench_stone(
    *,
    stroke: Stroke | LocalStroke | None = None,
    stop: StopRule | None = None,
    hand: Hand | None = None,
) -> Method:
    """An instrument moved by hand over a stone that lies still; the hand rests on the bench.

    The rest steadies the scatter to that of guided drilling (Ivanišević et al. 2024, an analogue,
    assumed); the angle each person judges to be right stays their own.

    Parameters
    ----------
    stroke : Stroke or LocalStroke, optional
        How the stone travels, as for `freehand`.
    stop : StopRule, optional
        When grinding stops, as for `freehand`.
    hand : Hand, optional
        Errors of your own.

    Returns
    -------
    Method

    Raises
    ------
    BadArgument
        An argument of the wrong kind.
    EdgekitError
        Local strokes with another stop rule than `ek.strokes.until_clear()`.

    Examples
    --------
    >>> import edgekit as ek
    >>> free, rested = ek.methods.freehand().hand.tilt_deg, ek.methods.bench_stone().hand.tilt_deg
    >>> rested.person_sd == free.person_sd, rested.sd < free.sd
    (True, True)
    """
    free, steady = _free_hand(), _guided_hand()
    rested = replace(
        free,
        tilt_deg=ErrorTerm(person_sd=free.tilt_deg.person_sd, sd=value("guided_tilt_sd_deg")),
        swing_deg=steady.swing_deg,
    )
    return _by_hand(
        "bench stone, moving instrument", rested if hand is None else hand, stroke, stop
    )


def held(
    setting: Setting | float | Sequence[Setting | float],
    *,
    placements: int | None = None,
    stop: StopRule | None = None,
    hand: Hand | None = None,
) -> Method:
    """A holder at one elevation (or several in turn), rolled along the edge or turned in steps.

    What the setting itself misses along a curved edge (theory T3) is no error of the hand: it is
    in the result whatever the hand does. Errors of the hand are those of guided drilling
    (Ivanišević et al. 2024, an analogue, assumed).

    Parameters
    ----------
    setting : Setting, float or sequence of them
        Elevation [deg] or a setting found by `best_setting` or `settings_needed`. Where settings
        leave their edge off by more than the usual tolerance, the method's name says so: the first
        session then grinds the bevel to the holder's angle, which can cost as much as six sessions.
    placements : int, optional
        Steps in which the instrument is turned, the same marks every session; None rolls it.
    stop : StopRule, optional
        When grinding stops, as for `freehand`.
    hand : Hand, optional
        Errors of your own.

    Returns
    -------
    Method

    Raises
    ------
    BadArgument
        An elevation outside -90 to 90; an argument of the wrong kind.
    EdgekitError
        No setting at all, or text; steps with another stop rule than `ek.strokes.until_clear()`.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.methods.held(15.0, placements=12).name
    'held at 15.0°, 12 placements'
    """
    guide = HoldElevation.of(setting)
    held_at = guide.elevations_deg
    angles = (
        ", ".join(f"{item:.1f}°" for item in held_at)
        if len(held_at) <= 2
        else f"{len(held_at)} settings"
    )
    off = HoldElevation.worst_error_deg(setting)
    doubt = f", up to {off:.1f}° off" if off > value("tolerance_deg") else ""
    motion = "rolled" if placements is None else f"{placements} placements"
    return Method(
        name=f"held at {angles}, {motion}{doubt}",
        guide=guide,
        stroke=_steady_roll() if placements is None else _steps(placements),
        stop=_chosen(stop, UntilFresh() if placements is None else UntilClear()),
        hand=_guided_hand() if hand is None else hand,
        setup_seconds=value("holder_setup_seconds"),
        mount_seconds=value("bench_mount_seconds"),
    )


def _steady_roll(direction: StrokeDirection | None = None) -> RollingStroke:
    """A roll that something guides: its tilt wanders no more than a hand trembles."""
    return RollingStroke(
        within_tilt_sd_deg=value("jitter_deg"), direction=direction or HolderStroke()
    )


def _steps(placements: int) -> LocalStroke:
    return LocalStroke(
        placements=placements,
        phase=PlacementPhase.SAME,
        strokes_per_placement=1,
        advance=Advance.UNIFORM,
        direction=HolderStroke(),
    )


def powered(*, stop: StopRule | None = None, hand: Hand | None = None) -> Method:
    """A driven stone against a guide: steady in angle, quick, and looked at less often.

    It takes what a diamond-plated stone takes by hand, 7.62 mg in 400 strokes (Hessheimer et al.
    2017, J Dent Hyg); how often it is lifted to look, and its pace, are assumed.

    Parameters
    ----------
    stop : StopRule, optional
        When grinding stops: until the land is a fresh edge's, by fewer looks than by hand.
    hand : Hand, optional
        Errors of your own.

    Returns
    -------
    Method

    Raises
    ------
    BadArgument
        An argument of the wrong kind.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.methods.powered().stop.strokes_between_looks
    4
    """
    looks = int(value("powered_strokes_between_looks"))
    return Method(
        name="powered stone, guided",
        stroke=_steady_roll(Oblique()),
        stop=_chosen(stop, UntilFresh(strokes_between_looks=looks)),
        hand=_guided_hand() if hand is None else hand,
        removal_mm3_per_stroke=value("removal_diamond_mm3_per_stroke"),
        seconds_per_stroke=value("powered_seconds_per_stroke"),
        abrasive=diamond_plated_stone(),
    )


def face_honing(*, hand: Hand | None = None) -> Method:
    """The face ground instead of the sides, with one plane for the whole blade.

    Width falls by 2 d cotβ for a depth d, which is cosβ times the loss from grinding both sides
    (theory T14); the cost is thickness. Blades ground either way were equally strong (Murray et al.
    1984, J Periodontol 55:410). The swing error is here the pitch of the stone along the blade. The
    stone is assumed to follow the face along its bow, which on a hollow face needs a rod or cone.

    Parameters
    ----------
    hand : Hand, optional
        Errors of your own.

    Returns
    -------
    Method

    Raises
    ------
    BadArgument
        An argument of the wrong kind.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.methods.face_honing().target is ek.Target.FACE
    True
    """
    steady = _guided_hand()
    return Method(
        name="face honing",
        target=Target.FACE,
        stroke=LocalStroke(
            placements=1,
            strokes_per_placement=1,
            advance=Advance.UNIFORM,
            direction=Oblique(angle_deg=value("face_stroke_lay_deg")),
        ),
        stop=UntilClear(),
        hand=hand
        if hand is not None
        else Hand(tilt_deg=steady.tilt_deg, swing_deg=ErrorTerm(sd=value("honing_pitch_sd_deg"))),
    )
