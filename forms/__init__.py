"""Paper: content in page-ready form goes in, PDF bytes come out.

Every form has its own frozen content class and one function that sets it on A4 or Letter.  Nothing here knows the farm,
the ledger or the clock; the same content always gives the same bytes.
"""

from __future__ import annotations

from forms.charts.capacity_chart import DayRoom
from forms.charts.season_chart import (
    SeasonContent,
    SeasonGrowOut,
    SeasonLanding,
    SeasonRow,
    SeasonWeek,
    season_drawing,
)
from forms.charts.svg_to_paper import chart_pdf, chart_png
from forms.documents.acclimation_checklist import ChecklistContent, LoggedReading, checklist
from forms.documents.acclimation_steps import AcclimationStep
from forms.documents.batch_history import HistoryContent, HistoryEvent, SurvivalPoint, history
from forms.documents.claim.claim_content import (
    BagReading,
    BoxCount,
    ClaimContent,
    ClaimHead,
    ClaimRow,
    ClaimStep,
    ClaimTotals,
    ClaimVersion,
    Evidence,
    Specimens,
)
from forms.documents.claim.claim_form import claim
from forms.documents.dip_log import DipLogContent, DipLogRow, dip_log
from forms.documents.intake_sheet.sheet_content import (
    Acclimation,
    Bath,
    DayWork,
    Permit,
    SheetContent,
    VatShare,
    WorkKind,
)
from forms.documents.intake_sheet.sheet_pages import sheet, sheets
from forms.documents.labels.label_sheets import GRIDS, LabelContent, LabelGrid, calibration, grid_for, grid_of, labels
from forms.documents.labels.vat_labels import VatLabel, VatLot, vat_labels
from forms.documents.receiving_run_sheet import (
    RunBar,
    RunBox,
    RunSheetContent,
    RunStation,
    RunWater,
    WaterListContent,
    runsheet,
    water_list,
)
from forms.documents.round_sheet import (
    RoundContent,
    RoundDue,
    RoundLot,
    RoundStop,
    RoundVat,
    round_sheet,
    round_sheets,
)
from forms.documents.sampling_list import SamplePlace, SamplingContent, sampling_list
from forms.documents.shared_content import Danger, Units, WorkRow
from forms.documents.supplier_report import Rate, SupplierContent, SupplierRow, supplier_report
from forms.documents.wall.capacity_curve import CapacityPaper, capacity
from forms.documents.wall.plan_content import (
    PlanBar,
    PlanChange,
    PlanContent,
    PlanHeld,
    PlanMove,
    PlanRelief,
    PlanShort,
    PlanSystem,
    PlanVat,
)
from forms.documents.wall.season_plan import SeasonOrder, SeasonPaper, season
from forms.documents.wall.vat_plan import plan
from forms.layout.page import PaperError
from forms.layout.photo_plates import Photo
from forms.layout.sheet_pen import sheet_paper
from forms.layout.stamp import printed_at, stamped

__all__ = [
    "GRIDS",
    "Acclimation",
    "AcclimationStep",
    "BagReading",
    "Bath",
    "BoxCount",
    "CapacityPaper",
    "ChecklistContent",
    "ClaimContent",
    "ClaimHead",
    "ClaimRow",
    "ClaimStep",
    "ClaimTotals",
    "ClaimVersion",
    "Danger",
    "DayRoom",
    "DayWork",
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
    "PlanHeld",
    "PlanMove",
    "PlanRelief",
    "PlanShort",
    "PlanSystem",
    "PlanVat",
    "Rate",
    "RoundContent",
    "RoundDue",
    "RoundLot",
    "RoundStop",
    "RoundVat",
    "RunBar",
    "RunBox",
    "RunSheetContent",
    "RunStation",
    "RunWater",
    "SamplePlace",
    "SamplingContent",
    "SeasonContent",
    "SeasonGrowOut",
    "SeasonLanding",
    "SeasonOrder",
    "SeasonPaper",
    "SeasonRow",
    "SeasonWeek",
    "SheetContent",
    "Specimens",
    "SupplierContent",
    "SupplierRow",
    "SurvivalPoint",
    "Units",
    "VatLabel",
    "VatLot",
    "VatShare",
    "WaterListContent",
    "WorkKind",
    "WorkRow",
    "calibration",
    "capacity",
    "chart_pdf",
    "chart_png",
    "checklist",
    "claim",
    "dip_log",
    "grid_for",
    "grid_of",
    "history",
    "labels",
    "plan",
    "printed_at",
    "round_sheet",
    "round_sheets",
    "runsheet",
    "sampling_list",
    "season",
    "season_drawing",
    "sheet",
    "sheet_paper",
    "sheets",
    "stamped",
    "supplier_report",
    "vat_labels",
    "water_list",
]
