from edgekit import clinic as clinic
from edgekit import figures as figures
from edgekit.archive.archive import read_result as read_result
from edgekit.archive.archive import write_result as write_result
from edgekit.bending.load_limits import LoadLimits as LoadLimits
from edgekit.bending.load_limits import load_limits as load_limits
from edgekit.bending.section_properties import SectionProperties as SectionProperties
from edgekit.bending.section_properties import section_properties as section_properties
from edgekit.bending.strength import AtRisk as AtRisk
from edgekit.bending.strength import Strength as Strength
from edgekit.bending.strength import strength as strength
from edgekit.clinic.bench.plan import BenchPlan as BenchPlan
from edgekit.clinic.bench.plan import plan_bench as plan_bench
from edgekit.clinic.bench.settings import FewestSettings as FewestSettings
from edgekit.clinic.bench.settings import SettingRange as SettingRange
from edgekit.clinic.bench.settings import fewest_settings as fewest_settings
from edgekit.clinic.cost.budget import Budget as Budget
from edgekit.clinic.cost.budget import budget as budget
from edgekit.clinic.cost.prices import Prices as Prices
from edgekit.clinic.cost.prices import read_prices as read_prices
from edgekit.clinic.cost.saving import IntervalChange as IntervalChange
from edgekit.clinic.cost.saving import MethodChange as MethodChange
from edgekit.clinic.cost.saving import Saving as Saving
from edgekit.clinic.cost.saving import saving as saving
from edgekit.clinic.forecasting.forecast import Forecast as Forecast
from edgekit.clinic.forecasting.forecast import forecast as forecast
from edgekit.clinic.forecasting.model_check import ModelCheck as ModelCheck
from edgekit.clinic.forecasting.model_check import compare_with_model as compare_with_model
from edgekit.clinic.forecasting.provenance import source_rows as source_rows
from edgekit.clinic.forecasting.survival import Survival as Survival
from edgekit.clinic.forecasting.survival import survival as survival
from edgekit.clinic.log.log import Log as Log
from edgekit.clinic.log.log import read_log as read_log
from edgekit.clinic.own.own_files import Answer as Answer
from edgekit.clinic.own.own_files import ClinicFiles as ClinicFiles
from edgekit.clinic.own.own_files import read_clinic as read_clinic
from edgekit.clinic.sheet.writing import SheetPage as SheetPage
from edgekit.clinic.sheet.writing import setting_sheet as setting_sheet
from edgekit.clinic.tray import read_tray as read_tray
from edgekit.clinic.weighing.steel import SteelPerStroke as SteelPerStroke
from edgekit.clinic.weighing.ways import WaysCompared as WaysCompared
from edgekit.clinic.weighing.weighings import Weighings as Weighings
from edgekit.contact.facets import Facets as Facets
from edgekit.contact.facets import Spacing as Spacing
from edgekit.contact.facets import facets as facets
from edgekit.contact.facets import placed_by_curvature as placed_by_curvature
from edgekit.contact.facets import placements_for as placements_for
from edgekit.contact.facets import spaced_placements as spaced_placements
from edgekit.contact.holder import Holder as Holder
from edgekit.contact.holder import HolderFit as HolderFit
from edgekit.contact.holder import RollSchedule as RollSchedule
from edgekit.contact.holder import Setting as Setting
from edgekit.contact.holder import best_setting as best_setting
from edgekit.contact.holder import roll_schedule as roll_schedule
from edgekit.contact.holder import setting_at as setting_at
from edgekit.contact.holder import settings_needed as settings_needed
from edgekit.contact.holder import settings_table as settings_table
from edgekit.contact.orientation import Orientation as Orientation
from edgekit.contact.orientation import orient as orient
from edgekit.contact.stone import ConeStone as ConeStone
from edgekit.contact.stone import DiscStone as DiscStone
from edgekit.contact.stone import FlatStone as FlatStone
from edgekit.contact.stone import RodStone as RodStone
from edgekit.contact.stone import Stone as Stone
from edgekit.digitising import pictures as pictures
from edgekit.digitising.reader import read_blade as read_blade
from edgekit.digitising.writer import write_blade as write_blade
from edgekit.edge_finish.blunting import Blunting as Blunting
from edgekit.edge_finish.blunting import OnCounterface as OnCounterface
from edgekit.edge_finish.blunting import blunting as blunting
from edgekit.edge_finish.cutting import WorkingAngles as WorkingAngles
from edgekit.edge_finish.cutting import working_angles as working_angles
from edgekit.edge_finish.edge_profile import EdgeProfile as EdgeProfile
from edgekit.edge_finish.hardness import rockwell_c as rockwell_c
from edgekit.edge_finish.hardness import vickers as vickers
from edgekit.edge_finish.line_contact import LineContact as LineContact
from edgekit.edge_finish.report import Finish as Finish
from edgekit.edge_finish.report import finish as finish
from edgekit.edge_finish.steel_grain import SteelGrainClaim as SteelGrainClaim
from edgekit.edge_finish.steel_grain import steel_grain_claim as steel_grain_claim
from edgekit.edge_finish.texture import Roughness as Roughness
from edgekit.edge_finish.texture import roughness as roughness
from edgekit.errors import BadArgument as BadArgument
from edgekit.errors import BadFile as BadFile
from edgekit.errors import Cannot as Cannot
from edgekit.errors import EdgekitError as EdgekitError
from edgekit.evidence_table import Evidence as Evidence
from edgekit.evidence_table import evidence as evidence
from edgekit.figures.words import Picture as Picture
from edgekit.geometry import patterns as patterns
from edgekit.geometry.blade import Blade as Blade
from edgekit.geometry.blade import BladeClass as BladeClass
from edgekit.geometry.blade import EdgeTrace as EdgeTrace
from edgekit.geometry.blade import Trace as Trace
from edgekit.geometry.blade import width_between as width_between
from edgekit.geometry.curve import Curve as Curve
from edgekit.geometry.curve import SplineCurve as SplineCurve
from edgekit.geometry.curve import SymbolicCurve as SymbolicCurve
from edgekit.geometry.edge import Edge as Edge
from edgekit.geometry.edge import EdgeFrame as EdgeFrame
from edgekit.geometry.path import Path as Path
from edgekit.geometry.section import Section as Section
from edgekit.grinding.compiled.engine import engine as engine
from edgekit.grinding.random_streams import RunStreams as RunStreams
from edgekit.grinding.session import EdgeSession as EdgeSession
from edgekit.grinding.session import Session as Session
from edgekit.grinding.session import SessionOutcome as SessionOutcome
from edgekit.grinding.session import sharpen as sharpen
from edgekit.grinding.worn_blade import WornBlade as WornBlade
from edgekit.grinding.worn_blade import WornEdge as WornEdge
from edgekit.life import laws as laws
from edgekit.life import retire as retire
from edgekit.life.dulling import DullEdge as DullEdge
from edgekit.life.dulling import DullingLaw as DullingLaw
from edgekit.life.dulling import PowerDulling as PowerDulling
from edgekit.life.dulling import SaturatingDulling as SaturatingDulling
from edgekit.life.dulling import TableDulling as TableDulling
from edgekit.life.dulling import dull_edge as dull_edge
from edgekit.life.life import Life as Life
from edgekit.life.life import LifeEnd as LifeEnd
from edgekit.life.life import Lives as Lives
from edgekit.life.life import live as live
from edgekit.life.retire import Basis as Basis
from edgekit.life.retire import MaxThicknessLoss as MaxThicknessLoss
from edgekit.life.retire import MaxWidthLoss as MaxWidthLoss
from edgekit.life.retire import MinLength as MinLength
from edgekit.life.retire import MinStrength as MinStrength
from edgekit.life.retire import MinWidth as MinWidth
from edgekit.life.retire import RetireRule as RetireRule
from edgekit.life.retire import WidthLoss as WidthLoss
from edgekit.life.use import Use as Use
from edgekit.life.use import use as use
from edgekit.life.worn_file import read_worn as read_worn
from edgekit.life.worn_file import write_worn as write_worn
from edgekit.method import catalogue as methods
from edgekit.method import hand as hand
from edgekit.method import stones as stones
from edgekit.method import strokes as strokes
from edgekit.method.abrasive import Abrasive as Abrasive
from edgekit.method.abrasive import Lubricant as Lubricant
from edgekit.method.abrasive import ceramic_stone as ceramic_stone
from edgekit.method.abrasive import diamond_plated_stone as diamond_plated_stone
from edgekit.method.abrasive import fine_natural_stone as fine_natural_stone
from edgekit.method.alternation import Alternation as Alternation
from edgekit.method.grain import Scale as Scale
from edgekit.method.grain import grain_um as grain_um
from edgekit.method.guide import FollowEdge as FollowEdge
from edgekit.method.guide import Guide as Guide
from edgekit.method.guide import HoldElevation as HoldElevation
from edgekit.method.hand import ErrorTerm as ErrorTerm
from edgekit.method.hand import Hand as Hand
from edgekit.method.lay import HolderStroke as HolderStroke
from edgekit.method.lay import Lay as Lay
from edgekit.method.lay import Oblique as Oblique
from edgekit.method.lay import StraightStroke as StraightStroke
from edgekit.method.lay import StrokeDirection as StrokeDirection
from edgekit.method.lay import across_edge as across_edge
from edgekit.method.lay import along_edge as along_edge
from edgekit.method.lay import lay as lay
from edgekit.method.method import Method as Method
from edgekit.method.method import Target as Target
from edgekit.method.stop import StopRule as StopRule
from edgekit.method.strokes import LocalStroke as LocalStroke
from edgekit.method.strokes import PlacementPhase as PlacementPhase
from edgekit.method.strokes import RollingStroke as RollingStroke
from edgekit.method.strokes import Stroke as Stroke
from edgekit.method.wire_edge import StrokeSense as StrokeSense
from edgekit.method.wire_edge import WireEdge as WireEdge
from edgekit.method.wire_edge import WireEdgeFinding as WireEdgeFinding
from edgekit.method.wire_edge import wire_edge as wire_edge
from edgekit.safety import Cautions as Cautions
from edgekit.safety import cautions as cautions
from edgekit.study import conformance as testing
from edgekit.study import grid as grids
from edgekit.study.case import LifeCase as LifeCase
from edgekit.study.case import Task as Task
from edgekit.study.compare import Comparison as Comparison
from edgekit.study.compare import compare as compare
from edgekit.study.evidence_ranges import key_inputs as key_inputs
from edgekit.study.face_or_sides import Crossover as Crossover
from edgekit.study.face_or_sides import FaceOrSides as FaceOrSides
from edgekit.study.face_or_sides import face_or_sides as face_or_sides
from edgekit.study.face_or_sides import mixture as mixture
from edgekit.study.grid import Grid as Grid
from edgekit.study.grid import full_grid as full_grid
from edgekit.study.grid import latin_hypercube as latin_hypercube
from edgekit.study.grid import list_grid as list_grid
from edgekit.study.grid import sobol_points as sobol_points
from edgekit.study.manifest import RESULTS as RESULTS
from edgekit.study.sensitivity import Sensitivity as Sensitivity
from edgekit.study.sensitivity import Tornado as Tornado
from edgekit.study.sensitivity import runs_needed as runs_needed
from edgekit.study.sensitivity import sensitivity as sensitivity
from edgekit.study.sensitivity import tornado as tornado
from edgekit.study.sweep import FailedRows as FailedRows
from edgekit.study.sweep import sweep as sweep
from edgekit.tables import read_table as read_table
from edgekit.tables import write_table as write_table

__version__: str
__all__ = [
    "Edge",
    "EdgekitError",
    "LifeCase",
    "Use",
    "WornBlade",
    "best_setting",
    "blunting",
    "cautions",
    "clinic",
    "compare",
    "dull_edge",
    "evidence",
    "face_or_sides",
    "facets",
    "fewest_settings",
    "figures",
    "finish",
    "forecast",
    "grain_um",
    "grids",
    "hand",
    "key_inputs",
    "laws",
    "lay",
    "live",
    "load_limits",
    "methods",
    "mixture",
    "orient",
    "patterns",
    "pictures",
    "placements_for",
    "plan_bench",
    "read_blade",
    "read_log",
    "read_result",
    "read_table",
    "read_tray",
    "retire",
    "rockwell_c",
    "roughness",
    "section_properties",
    "sensitivity",
    "setting_at",
    "setting_sheet",
    "settings_needed",
    "sharpen",
    "spaced_placements",
    "stones",
    "strength",
    "strokes",
    "sweep",
    "testing",
    "tornado",
    "use",
    "vickers",
    "working_angles",
    "write_blade",
    "write_result",
    "write_table",
]
