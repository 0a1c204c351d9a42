from edgekit.digitising.pictures.budget import Budget as Budget
from edgekit.digitising.pictures.budget import Input as Input
from edgekit.digitising.pictures.budget import Shape as Shape
from edgekit.digitising.pictures.loss import WidthLoss as WidthLoss
from edgekit.digitising.pictures.loss import width_loss as width_loss
from edgekit.digitising.pictures.one_view import EdgeEnd as EdgeEnd
from edgekit.digitising.pictures.one_view import Propagated as Propagated
from edgekit.digitising.pictures.one_view import SeenEdge as SeenEdge
from edgekit.digitising.pictures.one_view import ToeRule as ToeRule
from edgekit.digitising.pictures.one_view import edge_from_view as edge_from_view
from edgekit.digitising.pictures.outlines.blade_outline import Outline as Outline
from edgekit.digitising.pictures.outlines.blade_outline import Quality as Quality
from edgekit.digitising.pictures.outlines.blade_outline import View as View
from edgekit.digitising.pictures.outlines.blade_outline import outline as outline
from edgekit.digitising.pictures.outlines.chipping import Chip as Chip
from edgekit.digitising.pictures.outlines.chipping import chips as chips
from edgekit.digitising.pictures.outlines.parts import EdgeLength as EdgeLength
from edgekit.digitising.pictures.outlines.parts import HeelAt as HeelAt
from edgekit.digitising.pictures.outlines.parts import Parts as Parts
from edgekit.digitising.pictures.outlines.parts import Side as Side
from edgekit.digitising.pictures.profiles import EdgeSpread as EdgeSpread
from edgekit.digitising.pictures.profiles import edge_spread as edge_spread
from edgekit.digitising.pictures.reading import LINEAR as LINEAR
from edgekit.digitising.pictures.reading import SRGB as SRGB
from edgekit.digitising.pictures.reading import Gamma as Gamma
from edgekit.digitising.pictures.reading import Picture as Picture
from edgekit.digitising.pictures.reading import Response as Response
from edgekit.digitising.pictures.reading import read_picture as read_picture
from edgekit.digitising.pictures.registering import Datum as Datum
from edgekit.digitising.pictures.targets.calibrating import Checkerboard as Checkerboard
from edgekit.digitising.pictures.targets.calibrating import KnownWidth as KnownWidth
from edgekit.digitising.pictures.targets.calibrating import Scale as Scale
from edgekit.digitising.pictures.targets.calibrating import StageMicrometer as StageMicrometer
from edgekit.digitising.pictures.targets.calibrating import calibrate as calibrate
from edgekit.digitising.pictures.view_trace import blade_from_view as blade_from_view
from edgekit.digitising.pictures.view_trace import propagate_trace as propagate_trace
from edgekit.digitising.pictures.widths import Apex as Apex
from edgekit.digitising.pictures.widths import Mount as Mount
from edgekit.digitising.pictures.widths import Width as Width
from edgekit.digitising.pictures.widths import width as width

__all__ = [
    "LINEAR",
    "SRGB",
    "Apex",
    "Budget",
    "Checkerboard",
    "Chip",
    "Datum",
    "EdgeEnd",
    "EdgeLength",
    "EdgeSpread",
    "Gamma",
    "HeelAt",
    "Input",
    "KnownWidth",
    "Mount",
    "Outline",
    "Parts",
    "Picture",
    "Propagated",
    "Quality",
    "Response",
    "Scale",
    "SeenEdge",
    "Shape",
    "Side",
    "StageMicrometer",
    "ToeRule",
    "View",
    "Width",
    "WidthLoss",
    "blade_from_view",
    "calibrate",
    "chips",
    "edge_from_view",
    "edge_spread",
    "outline",
    "propagate_trace",
    "read_picture",
    "width",
    "width_loss",
]
