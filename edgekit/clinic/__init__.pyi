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
from edgekit.clinic.forecasting.growth import Growth as Growth
from edgekit.clinic.forecasting.model_check import ModelCheck as ModelCheck
from edgekit.clinic.forecasting.model_check import compare_with_model as compare_with_model
from edgekit.clinic.forecasting.provenance import source_rows as source_rows
from edgekit.clinic.forecasting.survival import Survival as Survival
from edgekit.clinic.forecasting.survival import Weibull as Weibull
from edgekit.clinic.forecasting.survival import survival as survival
from edgekit.clinic.log.cells import Event as Event
from edgekit.clinic.log.history import ServiceStatus as ServiceStatus
from edgekit.clinic.log.log import Log as Log
from edgekit.clinic.log.log import read_log as read_log
from edgekit.clinic.own.own_files import Answer as Answer
from edgekit.clinic.own.own_files import ClinicFiles as ClinicFiles
from edgekit.clinic.own.own_files import read_clinic as read_clinic
from edgekit.clinic.tray import read_tray as read_tray
from edgekit.clinic.weighing.steel import Proportion as Proportion
from edgekit.clinic.weighing.steel import SteelPerStroke as SteelPerStroke
from edgekit.clinic.weighing.steel import steel_per_stroke as steel_per_stroke
from edgekit.clinic.weighing.trace_check import steel_by_traces as steel_by_traces
from edgekit.clinic.weighing.ways import WaysCompared as WaysCompared
from edgekit.clinic.weighing.ways import blades_to_weigh as blades_to_weigh
from edgekit.clinic.weighing.ways import compare_ways as compare_ways
from edgekit.clinic.weighing.weighings import Ending as Ending
from edgekit.clinic.weighing.weighings import Way as Way
from edgekit.clinic.weighing.weighings import Weighings as Weighings
from edgekit.clinic.weighing.weighings import read_weighings as read_weighings

__all__ = [
    "Ending",
    "IntervalChange",
    "MethodChange",
    "Proportion",
    "SettingRange",
    "Way",
    "blades_to_weigh",
    "budget",
    "compare_ways",
    "compare_with_model",
    "fewest_settings",
    "forecast",
    "plan_bench",
    "read_clinic",
    "read_log",
    "read_prices",
    "read_tray",
    "read_weighings",
    "saving",
    "source_rows",
    "steel_by_traces",
    "steel_per_stroke",
    "survival",
]
