"""Paper: content in page-ready form goes in, PDF bytes come out.

Every form has its own frozen content class and one function that sets it on A4 or Letter.  Nothing here knows the farm,
the books or the clock; the same content always gives the same bytes.
"""

from __future__ import annotations

from forms.checklist import ChecklistContent, LoggedReading, checklist
from forms.claim import (
    BagReading,
    ClaimContent,
    ClaimHead,
    ClaimRow,
    ClaimStep,
    ClaimTotals,
    ClaimVersion,
    Evidence,
    Specimens,
    claim,
)
from forms.content import AcclimationStep, Units, WorkRow
from forms.history import HistoryContent, HistoryEvent, SurvivalPoint, history
from forms.labels import GRIDS, LabelContent, LabelGrid, calibration, grid_of, labels
from forms.page import PaperError
from forms.photos import Photo
from forms.plan import PlanBar, PlanChange, PlanContent, PlanMove, PlanRelief, PlanShort, PlanSystem, PlanVat, plan
from forms.redraw import chart_pdf, chart_png
from forms.rounds import DipLogContent, DipLogRow, RoundContent, RoundStop, RoundVat, dip_log, round_sheet
from forms.runsheet import (
    RunBar,
    RunBox,
    RunSheetContent,
    RunStation,
    RunWater,
    WaterListContent,
    runsheet,
    water_list,
)
from forms.sampling import SamplePlace, SamplingContent, sampling_list
from forms.sheet import Acclimation, Permit, SheetContent, StageDates, VatShare, sheet, sheets
from forms.supplier import Rate, SupplierContent, SupplierRow, supplier_report

__all__ = [
    "GRIDS",
    "Acclimation",
    "AcclimationStep",
    "BagReading",
    "ChecklistContent",
    "ClaimContent",
    "ClaimHead",
    "ClaimRow",
    "ClaimStep",
    "ClaimTotals",
    "ClaimVersion",
    "DipLogContent",
    "DipLogRow",
    "Evidence",
    "HistoryContent",
    "HistoryEvent",
    "LabelContent",
    "LabelGrid",
    "LoggedReading",
    "PaperError",
    "Permit",
    "Photo",
    "PlanBar",
    "PlanChange",
    "PlanContent",
    "PlanMove",
    "PlanRelief",
    "PlanShort",
    "PlanSystem",
    "PlanVat",
    "Rate",
    "RoundContent",
    "RoundStop",
    "RoundVat",
    "RunBar",
    "RunBox",
    "RunSheetContent",
    "RunStation",
    "RunWater",
    "SamplePlace",
    "SamplingContent",
    "SheetContent",
    "Specimens",
    "StageDates",
    "SupplierContent",
    "SupplierRow",
    "SurvivalPoint",
    "Units",
    "VatShare",
    "WaterListContent",
    "WorkRow",
    "calibration",
    "chart_pdf",
    "chart_png",
    "checklist",
    "claim",
    "dip_log",
    "grid_of",
    "history",
    "labels",
    "plan",
    "round_sheet",
    "runsheet",
    "sampling_list",
    "sheet",
    "sheets",
    "supplier_report",
    "water_list",
]
