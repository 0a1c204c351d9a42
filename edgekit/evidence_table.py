"""Every default number of the package, with its spread, its status and where it comes from.

A default elsewhere in the package is `value("name")`, so a search for that name finds the line that
decides a number on screen. Numbers are facts of the named sources; none is tuned to give a result.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import TYPE_CHECKING

from edgekit.errors import BadArgument

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Claim",
    "Evidence",
    "Gsd",
    "Range",
    "Sd",
    "Spread",
    "Status",
    "entry",
    "evidence",
    "value",
]


class Status(enum.Enum):
    """How well a number is supported."""

    PUBLISHED = "published"
    COMMON_PRACTICE = "common practice"
    MEMORY = "memory"
    DERIVED = "derived"
    ASSUMED = "assumed"


@dataclass(frozen=True)
class Sd:
    """A normal spread with standard deviation `sd`, in the unit of the value."""

    sd: float

    def __str__(self) -> str:
        return f"± {self.sd:g}"


@dataclass(frozen=True)
class Gsd:
    """A lognormal spread about the value as median, with geometric standard deviation `gsd`."""

    gsd: float

    def __str__(self) -> str:
        return f"×/÷ {self.gsd:g}"


@dataclass(frozen=True)
class Range:
    """Values given by sources or met in use, from `low` to `high`; not a distribution."""

    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.low:g} to {self.high:g}"


Spread = Sd | Gsd | Range | None


@dataclass(frozen=True)
class Evidence:
    """One default: its name, value, spread, unit, status and source."""

    name: str
    value: float
    spread: Spread
    unit: str
    status: Status
    source: str

    @property
    def gsd(self) -> float:
        """Geometric standard deviation for sampling; 1 (no spread) unless stated as such."""
        return self.spread.gsd if isinstance(self.spread, Gsd) else 1.0

    @property
    def sd(self) -> float:
        """Standard deviation; 0 (no spread) unless stated as such."""
        return self.spread.sd if isinstance(self.spread, Sd) else 0.0


@dataclass(frozen=True, kw_only=True)
class Claim:
    """One thing a source says of a disputed question.

    ``supports``: True for a yes to the question, False for a no, None for neither. ``status``: how
    far the source may be trusted.
    """

    says: str
    supports: bool | None
    status: Status
    source: str


_P, _C, _M, _D, _A = (
    Status.PUBLISHED,
    Status.COMMON_PRACTICE,
    Status.MEMORY,
    Status.DERIVED,
    Status.ASSUMED,
)
_NIMMANON = "Nimmanon et al. 2022, J Indian Soc Periodontol 26:213"
_DIMENSIONS = "Dimensions of Dental Hygiene, 'Maintain the Cutting Edge of Dental Instruments'"
_ODU = "MS thesis, Old Dominion Univ. 2001, edge width after sharpening with a natural stone"
_DRILL = "analogue: manual drilling, Brioschi et al. 2016, Vet Rec Open; Ivanišević et al. 2024"
_GUIDED = "analogue: guided drilling, mean absolute error 0.6-1.3°, Ivanišević et al. 2024"
_FACE_TOOTH = "teaching texts: face to tooth above 45°, below 90°, best 60-80°"
_OWN = "no source: a stated free parameter of the model"
_NEWCOMER = (
    "somebody's first tray, lifting, turning, measuring and reading included; one reader's guess "
    "from the printed sheet, no source"
)
_PRACTISED = (
    "by somebody practised, lifting, turning, reading the hour, dial, ink and card included; set "
    "before the sum was known, no source"
)

_TABLE: tuple[Evidence, ...] = (
    # ---- shape of new blades -------------------------------------------------------------
    Evidence("internal_angle_deg", 75.0, Range(70, 80), "deg", _P, _DIMENSIONS),
    Evidence("width_mm", 0.86, None, "mm", _P, f"{_NIMMANON}: new Gr-type blade"),
    Evidence("thickness_mm", 0.71, None, "mm", _P, f"{_NIMMANON}: new Gr-type blade"),
    Evidence(
        "thickness_taper",
        0.3,
        Range(0, 0.5),
        "1",
        _A,
        "curettes are stoutest at the heel (common practice); by how much, no source: the share by "
        "which thickness rises from mid-length to the heel and falls to the toe",
    ),
    Evidence("length_mm", 5.65, Sd(0.68), "mm", _P, f"{_NIMMANON}: new standard blade"),
    Evidence(
        "half_length_ratio",
        0.5,
        None,
        "1",
        _P,
        "textbook notes: half-length variants, length x 0.5",
    ),
    Evidence(
        "face_tilt_deg",
        20.0,
        Range(20, 30),
        "deg",
        _P,
        "face to terminal shank 70° (60-70°): Univ. of Adelaide practice sheet; Palomo 2017",
    ),
    Evidence("plan_radius_mm", 6.7, Range(5, 10), "mm", _A, _OWN),
    Evidence("bow_radius_mm", 12.0, Range(10, 40), "mm", _A, _OWN),
    Evidence("universal_plan_radius_mm", 60.0, Range(20, 200), "mm", _A, _OWN),
    Evidence(
        "sickle_internal_angle_deg",
        75.0,
        Range(70, 80),
        "deg",
        _A,
        "taken as for curettes; no source for sickles seen",
    ),
    Evidence("sickle_width_mm", 0.8, Range(0.6, 1.2), "mm", _A, _OWN),
    Evidence("sickle_length_mm", 6.0, Range(4, 9), "mm", _A, _OWN),
    Evidence("sickle_plan_radius_mm", 25.0, Range(10, 60), "mm", _A, _OWN),
    Evidence("sickle_bow_radius_mm", 15.0, Range(8, 40), "mm", _A, _OWN),
    Evidence("hoe_bevel_deg", 45.0, None, "deg", _P, "teaching texts: hoe and chisel bevel"),
    Evidence("hoe_width_mm", 2.0, Range(1, 3), "mm", _A, _OWN),
    Evidence("hoe_length_mm", 1.5, Range(1, 2.5), "mm", _A, _OWN),
    Evidence("hoe_thickness_mm", 0.6, Range(0.4, 1), "mm", _A, _OWN),
    Evidence(
        "hoe_shank_angle_deg",
        100.0,
        None,
        "deg",
        _P,
        "teaching texts: hoe blade at about 100° to the shank",
    ),
    Evidence(
        "steel_yield_mpa",
        1650.0,
        Range(1650, 1900),
        "MPa",
        _M,
        "440A hardened to 51 HRC: 0.2 % yield 1650, break 1790; 440C at 57 HRC yields at 1900 "
        "(handbook tables, from memory); the lowest is taken",
    ),
    Evidence("steel_density_mg_per_mm3", 7.75, Sd(0.05), "mg/mm³", _M, "martensitic stainless"),
    # ---- reading traces ------------------------------------------------------------------
    Evidence(
        "trace_noise_um",
        10.0,
        Range(3, 30),
        "µm",
        _A,
        "a person digitising a calibrated picture; the file states its own",
    ),
    Evidence(
        "trace_angle_sd_deg",
        1.5,
        Range(0.5, 3),
        "deg",
        _A,
        "reading an internal angle from a section picture",
    ),
    # ---- pictures ------------------------------------------------------------------------
    Evidence(
        "target_error_um_per_mm",
        1.0,
        Range(0.2, 10),
        "µm/mm",
        _A,
        "half-width of the bounds of a chrome target's certificate; paper is ten times worse",
    ),
    Evidence(
        "picture_tilt_sd_deg",
        1.0,
        Range(0.3, 3),
        "deg",
        _A,
        "how well a face is levelled by hand on a stage; repeat mounts tell",
    ),
    Evidence(
        "picture_height_sd_mm",
        0.05,
        Range(0.02, 0.3),
        "mm",
        _A,
        "how well a face is brought into the target's plane by focus or feeler",
    ),
    Evidence(
        "camera_sharpening_um",
        1.3,
        Range(0, 2),
        "µm",
        _A,
        "both edges of a width, where a camera's own sharpening is not known to be off; "
        "1.1 µm an edge in rendered pictures at 8 µm a pixel",
    ),
    # ---- stones, holding and errors of the hand -------------------------------------------
    Evidence("tolerance_deg", 2.0, Range(1, 5), "deg", _C, "common practice, no source"),
    Evidence(
        "stone_length_mm",
        100.0,
        Range(50, 150),
        "mm",
        _C,
        "bench stones; common practice, no source",
    ),
    Evidence("rod_radius_mm", 3.0, Range(1, 6), "mm", _C, "rod stones; common practice, no source"),
    Evidence("freehand_tilt_sd_deg", 2.5, Gsd(1.5), "deg", _A, _DRILL),
    Evidence("freehand_tilt_bias_sd_deg", 2.5, Range(1.5, 7), "deg", _A, _DRILL),
    Evidence(
        "novice_tilt_sd_deg",
        5.0,
        Range(4, 8),
        "deg",
        _A,
        "analogue: crown taper by students, Virdee et al. 2018, Br Dent J",
    ),
    Evidence(
        "novice_tilt_bias_deg",
        6.9,
        Range(0, 9),
        "deg",
        _A,
        "analogue: crown taper by students, 24.2° where 6-15° was asked, half on each wall, Virdee "
        "et al. 2018, Br Dent J: one-sided; towards an obtuse edge, which is a guess",
    ),
    Evidence(
        "novice_tilt_bias_sd_deg",
        5.2,
        Range(3, 7),
        "deg",
        _A,
        "analogue: scatter of a wall 6.0-8.5° (middle 7.2) in the same, less 5° from stroke to "
        "stroke",
    ),
    Evidence("guided_tilt_sd_deg", 1.0, Range(0.8, 1.6), "deg", _A, _GUIDED),
    Evidence(
        "jitter_deg",
        0.5,
        Range(0.2, 1.5),
        "deg",
        _A,
        "analogue: hand tremor 49-285 µm over a 10 mm lever, Riviere et al. 1997",
    ),
    Evidence(
        "honing_pitch_sd_deg",
        0.2,
        Range(0.05, 1),
        "deg",
        _A,
        "a stone laid on a face several millimetres long finds it; no source",
    ),
    Evidence(
        "freehand_swing_sd_deg",
        3.5,
        Range(2, 7),
        "deg",
        _A,
        "analogue, weaker: same family as tilt, independent draw",
    ),
    Evidence("guided_swing_sd_deg", 1.0, Range(0.5, 2), "deg", _A, _GUIDED),
    Evidence("position_sd_mm", 0.2, Range(0.05, 0.5), "mm", _A, _OWN),
    Evidence("guided_position_sd_mm", 0.1, Range(0.02, 0.3), "mm", _A, _OWN),
    Evidence("depth_cv", 0.3, Range(0.1, 0.6), "1", _A, _OWN),
    Evidence("guided_depth_cv", 0.15, Range(0.05, 0.3), "1", _A, _OWN),
    Evidence("holder_pivot_height_mm", 60.0, Range(30, 120), "mm", _A, _OWN),
    Evidence("holder_reach_mm", 80.0, Range(50, 150), "mm", _A, _OWN),
    Evidence("handle_radius_mm", 4.0, Range(3, 5), "mm", _A, _OWN),
    Evidence("handle_from_mm", 35.0, Range(25, 45), "mm", _A, _OWN),
    Evidence("shank_radius_mm", 1.0, Range(0.7, 1.6), "mm", _A, _OWN),
    Evidence("stone_height_mm", 12.0, Range(6, 25), "mm", _A, _OWN),
    # ---- grinding -------------------------------------------------------------------------
    Evidence("placements", 12.0, Range(4, 60), "1", _A, _OWN),
    Evidence(
        "strokes_per_placement",
        4.0,
        Range(1, 10),
        "1",
        _A,
        "a stroke is a seating; four at each of 12 placements is what this model itself needs to "
        "clear an edge, not an observation",
    ),
    Evidence(
        "removal_fine_mm3_per_stroke",
        1.2e-3,
        Gsd(2),
        "mm³",
        _D,
        "Moses 2003 strokes with the dull-edge area; between Hessheimer's two stones",
    ),
    Evidence(
        "removal_diamond_mm3_per_stroke",
        2.4e-3,
        Gsd(2),
        "mm³",
        _D,
        "Hessheimer et al. 2017, J Dent Hyg: 7.62 mg in 400 strokes",
    ),
    Evidence(
        "removal_ceramic_mm3_per_stroke",
        2.2e-4,
        Gsd(2),
        "mm³",
        _D,
        "Hessheimer et al. 2017, J Dent Hyg: 0.69 mg in 400 strokes",
    ),
    Evidence(
        "removal_between",
        1.3,
        Range(1.1, 1.6),
        "1",
        _A,
        "geometric standard deviation, between people with one kind of stone, of what a stroke "
        "takes: they press unlike; no source. The factors of 2 above are ignorance of the stones",
    ),
    Evidence(
        "seconds_per_stroke",
        0.8,
        Range(0.5, 1.5),
        "s",
        _A,
        "not below 0.5: 98.9 % of hand motion is below 2 Hz, Riviere et al. 1997; the rest guessed",
    ),
    Evidence(
        "within_stroke_tilt_sd_deg",
        1.0,
        Range(0.3, 2),
        "deg",
        _A,
        "no measurement; an analogue, tip jitter of 0.05-0.35 mm over a 10 mm lever, gives 0.3-2",
    ),
    Evidence(
        "stroke_correlation_s",
        0.4,
        Range(0.3, 0.5),
        "s",
        _A,
        "98.9 % of hand motion lies below 2 Hz, Riviere et al. 1997: 1/4 to 1/2 of a period",
    ),
    Evidence(
        "strokes_between_looks",
        2.0,
        Range(1, 5),
        "1",
        _A,
        "a few strokes, then the edge is looked at or tried; common practice without a number",
    ),
    Evidence(
        "look_resolution_um",
        1.0,
        Range(0.5, 3),
        "µm",
        _A,
        "width of a land that a test stick or a lamp shows; no source",
    ),
    Evidence(
        "registered_swing_sd_deg",
        0.5,
        Range(0.2, 2),
        "deg",
        _A,
        "a stone pressed on an edge that hardly curves turns until it lies along it; no source",
    ),
    Evidence(
        "powered_strokes_between_looks",
        4.0,
        Range(2, 8),
        "1",
        _A,
        "a driven stone is lifted less often than a hand's is stopped; no source",
    ),
    Evidence(
        "stone_strokes_counted",
        10.0,
        Range(7, 10),
        "1",
        _P,
        "ten strokes restored an edge, Huang & Tseng 1991; 7-10, Moses 2003",
    ),
    Evidence("powered_seconds_per_stroke", 0.4, Range(0.2, 1), "s", _A, _OWN),
    Evidence("setup_seconds", 10.0, Range(5, 30), "s", _A, _OWN),
    Evidence("holder_setup_seconds", 25.0, Range(10, 60), "s", _A, _OWN),
    Evidence(
        "least_advance_share",
        0.1,
        Range(0.05, 0.3),
        "1",
        _A,
        "share of the usual advance below which a seating does not count as one; no source",
    ),
    Evidence(
        "max_stone_strokes",
        400.0,
        Range(100, 1000),
        "1",
        _A,
        "after so many strokes on an edge a person asks what is wrong; no source",
    ),
    Evidence(
        "angle_alarm_deg",
        20.0,
        Range(10, 30),
        "deg",
        _A,
        "an edge ground so far off its angle has a wrong setting, not an unsteady hand; no source",
    ),
    Evidence(
        "even_spacing_share",
        0.05,
        Range(0.01, 0.2),
        "1",
        _A,
        "of the mean density of placements, kept where an edge is perfectly straight; no source",
    ),
    Evidence("sharp_target", 0.98, Range(0.9, 1.0), "1", _A, _OWN),
    Evidence(
        "max_advance_um",
        250.0,
        Range(100, 500),
        "µm",
        _A,
        "a hand stops here and asks what is wrong; no source",
    ),
    # ---- use and dulling ------------------------------------------------------------------
    Evidence(
        "sharp_radius_um",
        1.19,
        Gsd(1.8),
        "µm",
        _D,
        f"{_ODU}: land of 1.89 ± 1.26 µm, over 2 cos(β/2) at 75°",
    ),
    Evidence(
        "dull_rate_um2_per_stroke",
        0.43,
        Gsd(3),
        "µm²",
        _A,
        "Archard with K 1e-4 (adhesive, general tables), 5 N, area coefficient 0.387; 4 mm, 2 mm "
        "and 6 GPa assumed",
    ),
    Evidence(
        "dull_rate_between",
        1.5,
        Range(1.2, 2),
        "1",
        _A,
        "geometric standard deviation of the rate between instruments: hardness and pressure "
        "differ; no source. The factor of 3 above is ignorance of the rate itself",
    ),
    Evidence(
        "dull_exponent",
        0.5,
        Range(0.2, 1.0),
        "1",
        _D,
        "constant worn area per stroke gives 1/2; sets measured elsewhere give 0.19-1.5",
    ),
    Evidence(
        "strokes_per_use",
        45.0,
        Range(15, 90),
        "1",
        _A,
        "how many strokes lie between sessions was not counted anywhere seen; 45 is where Tal et "
        "al. 1989 found 80-95 % of edges blunt, 15-90 what studies of blunting used",
    ),
    Evidence(
        "toe_third_share",
        0.75,
        Range(0.5, 1),
        "1",
        _A,
        "strokes fall mostly on the third of the edge next to the toe, common practice without a "
        "number: more than half, so the middle of half and all",
    ),
    Evidence(
        "dull_patches",
        16.0,
        Range(4, 60),
        "1",
        _A,
        "stretches of an edge that dull independently, some 0.4 mm each; no source",
    ),
    Evidence(
        "useful_radius_um",
        3.0,
        Range(2, 5),
        "µm",
        _D,
        "where the median edge was touched 18 times; blunting begins in 15-45 (Tal et al. 1985, "
        "1989)",
    ),
    Evidence(
        "dull_patch_cv",
        0.0,
        Range(0, 2),
        "1",
        _A,
        "scatter of strokes along one edge, off by default; cv 2.0 would give radii of cv 0.7, "
        "which fits the thesis's spread",
    ),
    Evidence(
        "attrition_um_per_use",
        0.0,
        Range(0, 6),
        "µm",
        _A,
        "width worn away in use beyond the rounding, off by default: sharpening is about half of "
        "all wear, Liu et al. 2022, but Archard's law above leaves a thousandth of that; upper end "
        "as much as a session takes",
    ),
    Evidence(
        "retire_width_fraction",
        0.2,
        Range(0.1, 0.2),
        "1",
        _D,
        "Murray et al. 1984, J Periodontol 55:410, saw no loss of strength until 10-20 % smaller; "
        "its upper end taken as the limit of use, which the paper does not set",
    ),
    Evidence("retire_length_fraction", 0.75, Range(0.5, 0.9), "1", _A, _OWN),
    Evidence("max_sessions", 200.0, None, "1", _A, "stops a life that never ends"),
    # ---- abrasives, finish, teeth and cutting ---------------------------------------------
    Evidence(
        "ra_per_grain",
        1 / 130,
        Gsd(1.6),
        "1",
        _A,
        "analogue: metallography tables, stainless, steady grinding; tables disagree by 3",
    ),
    Evidence(
        "ra_floor_um",
        0.03,
        Range(0.01, 0.05),
        "µm",
        _A,
        "analogue: 304 finishes from 0.03 (Medilanski et al. 2002); 52100 lapped 0.051",
    ),
    Evidence(
        "novaculite_crystal_um",
        3.0,
        Range(1, 5),
        "µm",
        _D,
        "Arkansas geological survey: crystals of 1-5 µm; the middle is taken",
    ),
    Evidence("ceramic_grain_um", 5.0, Range(2, 15), "µm", _A, _OWN),
    Evidence("diamond_grain_um", 20.0, Range(10, 45), "µm", _A, _OWN),
    Evidence(
        "sampling_lengths",
        5.0,
        None,
        "1",
        _P,
        "ISO 4287 / ISO 21920-2: five sampling (section) lengths in the evaluation length",
    ),
    Evidence(
        "active_grit_share",
        0.4,
        Gsd(2.2),
        "1",
        _A,
        "grits that cut per square of grain size: with Ra of grain / 130 it gives, over four "
        "stones, the middle of the rms slopes below; the spread is that of the four; no "
        "measurement on a hand-held stone",
    ),
    Evidence(
        "ground_rms_slope",
        0.037,
        Range(0.0135, 0.10),
        "1",
        _M,
        "mean slope against Rq by Tanner & Fahoum 1976, Antonetti et al. 1993, Lambert & Fletcher "
        "1997 (formulas from memory; reviewed by Bahrami et al. 2006, Appl Mech Rev 59:1) at Rq "
        "0.038-0.2 µm, times sqrt(pi/2); a check, not an input",
    ),
    Evidence("lay_aspect", 20.0, Range(5, 100), "1", _A, _OWN),
    Evidence(
        "eye_resolution_um", 100.0, Range(70, 200), "µm", _M, "one to two minutes of arc at 250 mm"
    ),
    Evidence(
        "optical_limit_um",
        0.5,
        Range(0.3, 1),
        "µm",
        _M,
        "0.61 wavelength / aperture: 0.55 µm light, aperture 0.65",
    ),
    Evidence("face_tooth_low_deg", 45.0, None, "deg", _P, _FACE_TOOTH),
    Evidence("face_tooth_high_deg", 90.0, None, "deg", _P, _FACE_TOOTH),
    Evidence("face_tooth_best_low_deg", 60.0, None, "deg", _P, _FACE_TOOTH),
    Evidence("face_tooth_best_high_deg", 80.0, None, "deg", _P, _FACE_TOOTH),
    Evidence(
        "use_force_n",
        5.0,
        Range(1, 15.7),
        "N",
        _D,
        "Zappa et al. 1991, J Periodontol 62:335: means 5.4-5.7, range 1.0-15.7; rounded down",
    ),
    Evidence(
        "max_use_force_n",
        15.7,
        None,
        "N",
        _P,
        "Zappa et al. 1991, J Periodontol 62:335: the greatest of the forces measured",
    ),
    Evidence(
        "tip_load_mm",
        0.25,
        Range(0.1, 0.5),
        "mm",
        _A,
        "distance from the toe of a load said to act at the tip; a point itself bears nothing",
    ),
    Evidence(
        "pointed_toe",
        1.2,
        Range(1.1, 1.5),
        "1",
        _A,
        "1/sin of the angle between edge and mid-line above which a toe is a point: below 113° "
        "between its edges; a round toe has 1",
    ),
    Evidence("use_contact_mm", 2.0, Range(1, 4), "mm", _A, _OWN),
    Evidence("use_stroke_mm", 4.0, Range(2, 8), "mm", _A, _OWN),
    Evidence(
        "steel_hardness_hv",
        613.0,
        Range(577, 653),
        "HV",
        _M,
        "440A curettes at 54-58 HRC (memory), the middle by ASTM E140",
    ),
    Evidence(
        "use_wear_coefficient",
        1e-4,
        Gsd(3),
        "1",
        _A,
        "V = k F L / H, general tables: adhesive about 1e-4; none for a blade on a root",
    ),
    Evidence(
        "counterface_hardness_hv",
        50.0,
        Range(20, 360),
        "HV",
        _D,
        "within root dentine's 31-57; cementum 20, enamel 270-360: Cirano 2004; White; "
        "Gutiérrez-Salazar 2003",
    ),
    # ---- direction of rubbing, finish reports and strength --------------------------------
    Evidence(
        "stroke_lay_deg",
        90.0,
        Range(0, 90),
        "deg",
        _C,
        "short strokes up and down the lateral surface; common practice, no source",
    ),
    Evidence(
        "face_stroke_lay_deg",
        0.0,
        Range(0, 90),
        "deg",
        _C,
        "a rod turned along the face from heel to toe; common practice, no source",
    ),
    Evidence(
        "holder_slide_deg",
        0.0,
        Range(0, 90),
        "deg",
        _A,
        "the stone slides in line with the handle; no source",
    ),
    Evidence(
        "report_magnification", 40.0, Range(10, 100), "1", _A, "a bench microscope; no source"
    ),
    Evidence(
        "conforming_wave_um",
        30.0,
        Range(5, 200),
        "µm",
        _A,
        "a wave of height a is pressed flat below a pressure of pi E* a / wavelength "
        "(Westergaard 1939; Johnson, Contact Mechanics); Rq 0.1-0.2 µm, 20 GPa, 0.5 GPa",
    ),
    Evidence("alike_share", 0.1, Range(0.05, 0.2), "1", _A, _OWN),
    Evidence(
        "calculus_hardness_hv",
        30.0,
        Range(20, 40),
        "HV",
        _D,
        "middle of the range published: Cirano 2004; White; Gutiérrez-Salazar 2003",
    ),
    Evidence(
        "enamel_hardness_hv",
        315.0,
        Range(270, 360),
        "HV",
        _D,
        "middle of the range published: Cirano 2004; White; Gutiérrez-Salazar 2003",
    ),
    Evidence(
        "retire_strength_fraction",
        0.7,
        Range(0.5, 0.9),
        "1",
        _A,
        "no source; Murray et al. 1984 found no significant loss at 10-20 % less size",
    ),
    Evidence("disc_radius_mm", 40.0, Range(20, 100), "mm", _A, _OWN),
    # ---- the clinic's log -----------------------------------------------------------------
    Evidence(
        "log_width_low_mm",
        0.1,
        None,
        "mm",
        _A,
        "no blade of a scaler is narrower; below this a width is likely in inches",
    ),
    Evidence(
        "log_width_high_mm",
        5.0,
        None,
        "mm",
        _A,
        "no blade of a scaler is wider; above this a width is likely in micrometres",
    ),
    Evidence("log_first_year", 1990.0, None, "1", _A, "earlier dates are slips of a spreadsheet"),
    Evidence("log_last_year", 2100.0, None, "1", _A, "later dates are slips of the keyboard"),
    Evidence("log_longest_minutes", 480.0, None, "min", _A, "a working day for one row"),
    Evidence(
        "log_longest_gap_days",
        730.0,
        None,
        "d",
        _A,
        "two years without a row suggest a mistyped year",
    ),
    Evidence(
        "log_largest_drop_um",
        200.0,
        Range(100, 300),
        "µm",
        _A,
        "between neighbouring readings; more suggests another instrument or edge",
    ),
    Evidence(
        "log_rise_in_reading_sds",
        4.25,
        Range(3, 6),
        "1",
        _D,
        "3 standard deviations of a difference of two readings, 3 x sqrt 2",
    ),
    Evidence(
        "reading_sd_um",
        10.0,
        Gsd(2),
        "µm",
        _A,
        "repeatability of a hand-held gauge on a curved blade; estimated when a log allows",
    ),
    # ---- weighings of one's own blades ------------------------------------------------------
    Evidence(
        "left_on_blade_mg",
        0.0,
        Sd(0.003),
        "mg",
        _A,
        "what strokes leave on a cleaned blade, alike every time: a wire edge of 20 x 3 µm along "
        "6 mm weighs 0.003 mg; no measurement",
    ),
    Evidence(
        "cleaning_bias_mg",
        0.0,
        Sd(0.02),
        "mg",
        _A,
        "what handling and cleaning add or take between two weighings, where no bouts without "
        "strokes say so; no measurement",
    ),
    Evidence(
        "balance_sd_per_digit",
        1.5,
        Range(0.6, 2.5),
        "1",
        _M,
        "standard deviation of an analytical balance, in units of its last digit: data sheets",
    ),
    Evidence("session_steel_cv", 0.4, Range(0.2, 0.6), "1", _A, f"between blades; {_OWN}"),
    Evidence("weighing_low_mg", 200.0, None, "mg", _A, "least mass of an instrument or its tip"),
    Evidence("weighing_high_mg", 500000.0, None, "mg", _A, "greatest mass of an instrument"),
    Evidence(
        "weighing_max_range_mg",
        2.0,
        None,
        "mg",
        _A,
        "repeats that differ by more hold a slip, or the balance cannot tell what a session takes",
    ),
    # ---- forecast and budget --------------------------------------------------------------
    Evidence(
        "loss_um_per_session",
        6.0,
        Range(3, 15),
        "µm",
        _D,
        "half of 20 % of 0.86 mm over 14.34 cycles, Liu et al. 2022, Int J Dent Hyg 20:564",
    ),
    Evidence(
        "loss_between_edges_cv",
        0.26,
        Range(0.1, 0.5),
        "1",
        _A,
        "analogue: unit-to-unit spread of crack growth, Rodríguez-Picón et al. 2018",
    ),
    Evidence(
        "loss_between_groups_cv",
        0.3,
        Range(0.1, 0.6),
        "1",
        _A,
        "least spread of patterns and methods about their common mean, before data",
    ),
    Evidence("session_loss_cv", 0.4, Range(0.2, 0.8), "1", _A, _OWN),
    Evidence(
        "sessions_per_year",
        12.0,
        Range(4, 50),
        "1/yr",
        _D,
        "14.34 cycles (Liu et al. 2022) over a surveyed life of 12-18 months",
    ),
    Evidence(
        "pace_shift",
        1.0,
        Gsd(1.3),
        "1",
        _A,
        "pace of the whole clinic in the months ahead over that of its log: staff, patients and "
        "rules change for all edges at once; no source",
    ),
    Evidence(
        "growth_check_share",
        0.01,
        Range(0.001, 0.05),
        "1",
        _A,
        "share of groups of straight-line edges warned of by mistake",
    ),
    Evidence(
        "growth_check_share_few",
        0.1,
        Range(0.05, 0.2),
        "1",
        _A,
        "the same for a group of fewer than five edges, where a miss costs more",
    ),
    # ---- the bench plan -------------------------------------------------------------------
    Evidence("bench_ridge_um", 10.0, Range(5, 40), "µm", _A, _OWN),
    Evidence(
        "bench_hollow_um",
        10.0,
        Range(5, 30),
        "µm",
        _A,
        "depth of a hollow worth a rod: more than a session's loss of width; no source",
    ),
    Evidence(
        "bench_most_settings",
        2.0,
        Range(1, 8),
        "1",
        _A,
        "settings of one edge that a person will make; a third often serves a part of a toe",
    ),
    Evidence(
        "bench_setting_error_deg",
        0.5,
        Range(0.2, 2),
        "deg",
        _A,
        "how far a holder may stand from the setting meant, a bound and not a standard "
        "deviation: a scale of whole degrees is set to half a division; no source",
    ),
    Evidence(
        "bench_least_mm",
        0.3,
        Range(0.1, 1),
        "mm",
        _A,
        "length of edge worth another setting: the order of a toe's radius; no source",
    ),
    Evidence(
        "bench_strokes_per_edge",
        10.0,
        Range(5, 20),
        "1",
        _A,
        "protocols of 7-10 strokes (Moses 2003; Huang & Tseng 1991) taken as what a clinic's edge "
        "needs, with an assumed spread",
    ),
    Evidence("bench_mount_seconds", 15.0, Range(8, 30), "s", _A, _OWN),
    Evidence("bench_check_seconds", 8.0, Range(4, 20), "s", _A, _OWN),
    Evidence("bench_chance", 0.8, Range(0.5, 0.95), "1", _A, _OWN),
    Evidence(
        "bench_extra_rounds",
        2.0,
        Range(1, 3),
        "1",
        _A,
        "rounds past those planned, after which something else is wrong; no source",
    ),
    Evidence(
        "least_strip_mm",
        0.1,
        Range(0.05, 0.5),
        "mm",
        _A,
        "of an edge: less cannot be marked, and strokes beside it reach it; no source",
    ),
    Evidence(
        "ink_line_share",
        0.5,
        Range(0.25, 0.75),
        "1",
        _A,
        "of the ink's height bare after a stroke, below which the angle is looked at again; "
        "no source",
    ),
    Evidence(
        "stone_end_mm",
        10.0,
        Range(5, 20),
        "mm",
        _A,
        "left at either end of a stone by a stroke, so that the edge stays on it; no source",
    ),
    Evidence(
        "least_stroke_mm",
        5.0,
        Range(3, 10),
        "mm",
        _A,
        "of the stone along the edge's side: less is no stroke; no source",
    ),
    Evidence(
        "dial_taped_deg",
        5.0,
        Range(2.5, 10),
        "deg",
        _A,
        "how far a dial taped by eye may be off, ten minutes of its hours; no source",
    ),
    Evidence(
        "card_gap_mm",
        0.02,
        Range(0.01, 0.05),
        "mm",
        _A,
        "least gap between a cut card and a face that is seen against the light; no source",
    ),
    Evidence("practised_stroke_seconds", 4.0, Range(2, 8), "s", _A, _PRACTISED),
    Evidence("practised_mount_seconds", 60.0, Range(30, 120), "s", _A, _PRACTISED),
    Evidence("practised_check_seconds", 45.0, Range(20, 90), "s", _A, _PRACTISED),
    Evidence("practised_setup_seconds", 90.0, Range(45, 180), "s", _A, _PRACTISED),
    Evidence("newcomer_stroke_seconds", 10.0, Range(5, 20), "s", _A, _NEWCOMER),
    Evidence("newcomer_mount_seconds", 150.0, Range(60, 300), "s", _A, _NEWCOMER),
    Evidence("newcomer_check_seconds", 60.0, Range(30, 180), "s", _A, _NEWCOMER),
    Evidence("newcomer_setup_seconds", 180.0, Range(60, 600), "s", _A, _NEWCOMER),
    Evidence(
        "practice_universal_seconds",
        45.0,
        None,
        "s",
        _C,
        "a universal working end in a holder; common practice, no source",
    ),
    Evidence(
        "practice_area_specific_seconds",
        30.0,
        None,
        "s",
        _C,
        "an area-specific working end in a holder, at most; common practice, no source",
    ),
)

_BY_NAME = {item.name: item for item in _TABLE}


def entry(name: str) -> Evidence:
    """Return the evidence for one default.

    Examples
    --------
    >>> from edgekit.evidence_table import entry
    >>> entry("width_mm").status.value
    'published'
    """
    if name not in _BY_NAME:
        raise BadArgument(
            "no such entry of the evidence table", name, "See edgekit.evidence().", argument="name"
        )
    return _BY_NAME[name]


def value(name: str) -> float:
    """Return the value of one default."""
    return entry(name).value


def evidence() -> pd.DataFrame:
    """Every default of the package as a table.

    Returns
    -------
    pandas.DataFrame
        Columns ``name, value, spread, unit, status, source``.

    Examples
    --------
    >>> import edgekit as ek
    >>> table = ek.evidence().set_index("name")
    >>> table.loc[["width_mm", "retire_width_fraction", "strokes_per_use"], "status"].tolist()
    ['published', 'derived', 'assumed']
    """
    import pandas as pd

    return pd.DataFrame(
        [
            {
                "name": item.name,
                "value": item.value,
                "spread": "not stated" if item.spread is None else str(item.spread),
                "unit": item.unit,
                "status": item.status.value,
                "source": item.source,
            }
            for item in _TABLE
        ]
    )
