"""Statuses of the evidence table: what is called published is what its source prints.

The numbers beside the names were read in the sources that the entries name, most of them in
abstracts, and hold apart from the table.
"""

import ast
import math
from pathlib import Path

import numpy as np
import pytest

import edgekit as ek
from edgekit.evidence_table import Gsd, Range, Sd, Status, entry

# What each source prints for the quantity that the entry is used as: lowest and highest.
PRINTED = {
    "internal_angle_deg": (70, 80),  # Dimensions of Dental Hygiene
    "width_mm": (0.86, 0.86),  # Nimmanon et al. 2022, new Gr-type blade
    "thickness_mm": (0.71, 0.71),
    "length_mm": (5.65, 5.65),
    "half_length_ratio": (0.5, 0.5),  # textbook notes
    "face_tilt_deg": (20, 30),  # face to terminal shank 60-70°: Univ. of Adelaide; Palomo 2017
    "hoe_bevel_deg": (45, 45),  # teaching texts
    "hoe_shank_angle_deg": (100, 100),
    "stone_strokes_counted": (7, 10),  # Moses 2003; ten: Huang & Tseng 1991
    "sampling_lengths": (5, 5),  # ISO 4287
    "face_tooth_low_deg": (45, 45),  # teaching texts
    "face_tooth_high_deg": (90, 90),
    "face_tooth_best_low_deg": (60, 60),
    "face_tooth_best_high_deg": (80, 80),
    "max_use_force_n": (15.7, 15.7),  # Zappa et al. 1991, J Periodontol 62:335
}
UNSUPPORTED = {  # once called published or derived, and the status that the source bears
    "strokes_per_use": Status.ASSUMED,
    "retire_width_fraction": Status.DERIVED,
    "use_force_n": Status.DERIVED,
    "bench_strokes_per_edge": Status.ASSUMED,
    "strokes_per_placement": Status.ASSUMED,
    "seconds_per_stroke": Status.ASSUMED,
    "dull_rate_um2_per_stroke": Status.ASSUMED,
    "counterface_hardness_hv": Status.DERIVED,
    "calculus_hardness_hv": Status.DERIVED,
    "enamel_hardness_hv": Status.DERIVED,
    "novaculite_crystal_um": Status.DERIVED,
    "sharp_radius_um": Status.DERIVED,
}
TABLE = ek.evidence().set_index("name")


def test_what_is_called_published_is_printed_in_its_source():
    published = TABLE.index[TABLE["status"] == "published"]
    assert set(published) == set(PRINTED)
    for name, (low, high) in PRINTED.items():
        assert low <= TABLE.loc[name, "value"] <= high, name


def test_statuses_are_no_better_than_their_sources():
    assert {name: entry(name).status for name in UNSUPPORTED} == UNSUPPORTED
    for item in map(entry, TABLE.index):
        text = item.source.lower()
        if item.status is not Status.ASSUMED:
            assert "no source" not in text or item.status is Status.COMMON_PRACTICE, item.name
            assert "analogue" not in text, item.name
            assert "guess" not in text, item.name
        if "from memory" in text:
            assert item.status in (Status.MEMORY, Status.ASSUMED), item.name


def test_derived_numbers_follow_from_what_their_sources_print():
    half = math.radians(75.0) / 2
    # Old Dominion Univ. 2001: land of 1.89 µm after a natural stone; land = 2 r cos(β/2).
    assert entry("sharp_radius_um").value == pytest.approx(1.89 / (2 * math.cos(half)), rel=0.01)
    # Hessheimer et al. 2017: 7.62 and 0.69 mg in 400 strokes, at 7.75 mg/mm³.
    for name, mg in (("diamond", 7.62), ("ceramic", 0.69)):
        removal = entry(f"removal_{name}_mm3_per_stroke").value
        assert removal == pytest.approx(mg / 400 / 7.75, rel=0.03)
    # Liu et al. 2022: 14.34 cycles; half of a fifth of 0.86 mm; a life of 12-18 months.
    assert entry("loss_um_per_session").value == pytest.approx(0.1 * 860 / 14.34, rel=0.01)
    rate = entry("sessions_per_year")
    assert 14.34 / 1.5 <= rate.value <= 14.34
    # Cirano 2004; White; Gutiérrez-Salazar 2003: dentine 31-57, calculus 20-40, enamel 270-360.
    assert 31 <= entry("counterface_hardness_hv").value <= 57
    assert entry("calculus_hardness_hv").value == (20 + 40) / 2
    assert entry("enamel_hardness_hv").value == (270 + 360) / 2
    # Arkansas geological survey: crystals of 1-5 µm. Zappa et al. 1991: means 5.4-5.7 N, 1.0-15.7.
    assert entry("novaculite_crystal_um").value == (1 + 5) / 2
    assert 1.0 <= entry("use_force_n").value <= 5.4
    # Murray et al. 1984: 10-20 % smaller.
    assert entry("retire_width_fraction").value == 0.2


# Virdee et al. 2018, Br Dent J: taper of crowns by students 24.2 ± 11.95°, where 6-15° was asked.
def test_a_novice_errs_to_one_side_by_as_much_as_its_source():
    wall = (24.2 - (6 + 15) / 2) / 2
    assert entry("novice_tilt_bias_deg").value == pytest.approx(wall, abs=0.1)
    low, high = 11.95 / 2, 11.95 / math.sqrt(2)  # walls that err together, walls that do not
    both = math.hypot(entry("novice_tilt_bias_sd_deg").value, entry("novice_tilt_sd_deg").value)
    assert low < both < high
    novice, trained = (ek.methods.freehand(novice=given).hand.tilt_deg for given in (True, False))
    assert novice.bias == entry("novice_tilt_bias_deg").value
    assert trained.bias == 0.0
    worn = [
        ek.sharpen(
            ek.patterns.universal_curette(),
            ek.methods.freehand(novice=given),
            dull_radius_um=4.65,
            rng=np.random.default_rng(seed),
        )
        .worn.internal_angle_deg("left")
        .mean()
        for given in (True, False)
        for seed in range(6)
    ]
    assert np.mean(worn[:6]) > np.mean(worn[6:]) + 3  # obtuse: the mean of hands is no longer 75°


def test_every_spread_holds_its_value():
    for item in map(entry, TABLE.index):
        if isinstance(item.spread, Range):
            assert item.spread.low <= item.value <= item.spread.high, item.name
        elif isinstance(item.spread, Gsd):
            assert item.spread.gsd > 1, item.name
        elif isinstance(item.spread, Sd):
            assert item.spread.sd > 0, item.name


# Numbers of the trade once stood beside the code; each is now read from the table.
@pytest.mark.parametrize(
    ("place", "constant", "name"),
    [
        ("grinding/random_streams.py", "PATCHES", "dull_patches"),
        ("grinding/planes.py", "MIN_WEIGHT", "least_advance_share"),
        ("grinding/session.py", "ANGLE_ALARM_DEG", "angle_alarm_deg"),
        ("grinding/rolling_session.py", "MAX_STROKES", "max_stone_strokes"),
        ("contact/facets.py", "_EVEN_SHARE", "even_spacing_share"),
        ("bending/beam.py", "POINTED", "pointed_toe"),
        ("bending/load_limits.py", "TIP_MM", "tip_load_mm"),
    ],
)
def test_no_number_of_the_trade_stands_outside_the_table(place, constant, name):
    text = (Path(ek.__file__).parent / place).read_text(encoding="utf-8")
    given = [
        ast.unparse(node.value)
        for node in ast.parse(text).body
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == constant
    ]
    assert given
    assert f"value({name!r})" in given[0]
