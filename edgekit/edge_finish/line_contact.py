"""Contact of an edge with what it works on: load, stroke, hardness and wear coefficient."""

from dataclasses import dataclass

from edgekit.checks import at_least, keep_numbers, positive
from edgekit.edge_finish.hardness import hardness_pa
from edgekit.evidence_table import value


@dataclass(frozen=True, kw_only=True)
class LineContact:
    """Contact of an edge with what it works on; defaults are those of the evidence table.

    Parameters
    ----------
    load_n_per_mm : float
        Force per length of edge [N/mm].
    stroke_mm : float
        Sliding distance of one stroke [mm].
    counterface_hv : float
        Hardness of what is worked on [HV]; the softer of the two bodies sets the contact pressure.
    steel_hv : float
        Hardness of the blade [HV].
    wear_coefficient : float
        k of V = k F s / H [1]; tables with V = K F s / 3H have K = 3k.
    """

    load_n_per_mm: float = value("use_force_n") / value("use_contact_mm")
    stroke_mm: float = value("use_stroke_mm")
    counterface_hv: float = value("counterface_hardness_hv")
    steel_hv: float = value("steel_hardness_hv")
    wear_coefficient: float = value("use_wear_coefficient")

    def __post_init__(self) -> None:
        keep_numbers(
            self,
            load_n_per_mm=at_least("load_n_per_mm", self.load_n_per_mm, 0),
            stroke_mm=positive("stroke_mm", self.stroke_mm),
            counterface_hv=positive("counterface_hv", self.counterface_hv),
            steel_hv=positive("steel_hv", self.steel_hv),
            wear_coefficient=at_least("wear_coefficient", self.wear_coefficient, 0),
        )

    @property
    def contact_um(self) -> float:
        """Width of contact that bears the load at the softer body's hardness [µm]."""
        pressure = float(hardness_pa(min(self.counterface_hv, self.steel_hv)))
        return 1e6 * (1e3 * self.load_n_per_mm) / pressure

    @property
    def area_um2_per_stroke(self) -> float:
        """Section worn from the edge by one stroke, mean over its length [µm²]: k q s / H."""
        volume = self.wear_coefficient * 1e3 * self.load_n_per_mm * 1e-3 * self.stroke_mm
        return 1e12 * volume / float(hardness_pa(self.steel_hv))


def default_contact() -> LineContact:
    """The contact with every default of the evidence table.

    Examples
    --------
    >>> from edgekit.edge_finish.line_contact import default_contact
    >>> contact = default_contact()
    >>> contact.load_n_per_mm, round(contact.area_um2_per_stroke, 3)
    (2.5, 0.166)
    """
    return LineContact()
