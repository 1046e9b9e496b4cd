"""Invented contents of every form, for tests; no farm, person or supplier in here exists."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date, timedelta

from PIL import Image

import forms
from forms.documents.acclimation_checklist import ChecklistContent
from forms.documents.acclimation_steps import AcclimationStep
from forms.documents.batch_history import HistoryContent, HistoryEvent, SurvivalPoint
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
from forms.documents.dip_log import DipLogContent, DipLogRow
from forms.documents.intake_sheet.sheet_content import (
    Acclimation,
    DayWork,
    Permit,
    SheetContent,
    VatShare,
    WorkKind,
)
from forms.documents.labels.label_sheets import LabelContent
from forms.documents.receiving_run_sheet import RunBar, RunBox, RunSheetContent, RunStation, RunWater
from forms.documents.round_sheet import RoundContent, RoundDue, RoundLot, RoundStop, RoundVat
from forms.documents.sampling_list import SamplePlace, SamplingContent
from forms.documents.shared_content import Danger, WorkRow
from forms.documents.supplier_report import Rate, SupplierContent, SupplierRow
from forms.documents.wall.plan_content import PlanBar, PlanContent, PlanMove, PlanRelief, PlanShort, PlanSystem, PlanVat
from forms.layout.photo_plates import Photo
from tests.forms.season_samples import capacity_paper, season_paper

LONG_NAME = "Acanthastrea pseudolongissima var. septentrionalis × Micromussa lordhowensis (uncertain)"


def steps(n: int = 8) -> tuple[AcclimationStep, ...]:
    """`n` steps of a drip."""
    return tuple(
        AcclimationStep(
            10 * k, "Drip 40 mL/min; tub overflows to the drain" if k else "Open bag, measure, pour into tub",
            2.0 + k * 0.4, 22.5 + 0.3 * k, 33.0 + 0.2 * k, 6.9 + 0.12 * k, 0.004 + 0.003 * k,
            6.4 - 0.05 * k, "drip 40 mL/min" if k else "open, pour into tub", into_vat=k == n - 1,
        )
        for k in range(n)
    )  # fmt: skip


def work(n: int = 6) -> tuple[WorkRow, ...]:
    """`n` dips and inspections in turn."""
    rows = []
    for k in range(n):
        if k % 2:
            rows.append(WorkRow(f"{5 + 4 * k} Mar", "Inspection", "flatworm eggs, underside and base"))
        else:
            rows.append(
                WorkRow(f"{5 + 4 * k} Mar", "Dip", "Hydrogen peroxide 3 %", "40 mL/L", "5", "gloves, goggles", k != 2)
            )
    return tuple(rows)


LANDED = date(2026, 3, 3)


def due_days(n: int = 6) -> tuple[DayWork, ...]:
    """`n` days of work every fourth day: dips and inspections in turn."""
    return tuple(
        DayWork(LANDED + timedelta(days=2 + 4 * k), "I1", "inspect")
        if k % 2
        else DayWork(LANDED + timedelta(days=2 + 4 * k), "D1", "40 mL/L 5 min")
        for k in range(n)
    )


def palytoxin() -> Danger:
    """The poison in the slime."""
    words = "Never scrub, brush, heat or saw. Fever, metal taste, short breath: leave, get help, say palytoxin."
    return Danger("poison", "PALYTOXIN in the slime.", words, "PALYTOXIN: gloves, goggles")


def mains() -> Danger:
    """Mains power beside salt water."""
    return Danger("mains", "MAINS POWER + SALT WATER.", "Pumps and heaters off before hands go in.")


def sheet_content(**changes: object) -> SheetContent:
    """A full intake sheet of two vats."""
    values: dict[str, object] = {
        "farm": "Ångström Lagoon Farm",
        "batch": "KT-26-031-04",
        "name": "Tridacna maxima",
        "common_name": "small giant clam",
        "group": "clams, small",
        "size": "4–6 cm",
        "announced": 240,
        "count_address": "http://192.168.4.20:8080/c/KT-26-031-04",
        "supplier": "Χταπόδι Reef Nursery",
        "shipment": "KT-26-031",
        "waybill": "000-1234 5675",
        "boxes": ("3", "4", "5", "11"),
        "lands": "Tue 3 Mar 2026 09:40",
        "in_bag": "19 h",
        "printed": ("printed Mon 2 Mar 2026 18:20 by Mira Sandholm", "plan P3"),
        "revision": "revision 812 · bin any lower",
        "kills": (mains(),),
        "wear": ("gloves",),
        "wear_words": "Cover cuts. Wear long gloves. A bump that will not heal: doctor, mention aquarium.",
        "emergency": "000 · eyewash at the north door",
        "vats": (VatShare("Q3", 140, "Quarantine B", "raceway"), VatShare("Q4", 100, "Quarantine B", "raceway")),
        "permits": (
            Permit("Export permit", "XX-2026-00417", "240 NAR", "31 Aug 2026", "original, stamped"),
            Permit("Health certificate", "VH 88/26"),
        ),
        "acclimation": Acclimation(
            "drip, growing volume",
            "19 h in the bag; toxic ammonia at the vat's pH 0.012 mg/L, below 0.05; salinity differs by 1.6 PSU",
            steps(),
            water="46 L",
            tubs="2 tubs of 46 L, a second air line ready.",
            published=False,
        ),
        "onwards": ("Light 75 µmol, in even steps to 150 on 13 Mar.", "First food Thu 5 Mar."),
        "weeks_from": LANDED,
        "days": 42,
        "kinds": (
            WorkKind("D1", "dip", "Hydrogen peroxide 3 %", "40 mL/L", "5 min", "gloves, goggles", "waste drain",
                     published=False),
            WorkKind("I1", "inspection", "flatworm eggs, underside and base"),
        ),
        "work": due_days(),
        "gates": (
            "42 days from the last lot to enter Quarantine B: not before Tue 14 Apr",
            "All work done, last inspection found nothing. A find restarts the count",
            "Every death explained, or tested with a clean result",
            "No lot in this water is held or in quarantine",
        ),
        "foot": "† common practice; no published source · Follow local rules and your veterinarian.",
    }  # fmt: skip
    values.update(changes)
    return SheetContent(**values)  # type: ignore[arg-type]


def stress_sheets() -> dict[str, SheetContent]:
    """Sheets that are hard to set: nine vats, forty boxes, long names, eighty lines of care, a week of much work."""
    nine = tuple(VatShare(f"A{n}", 300, f"Quarantine {'ABC'[(n - 1) // 3]}", "raceway") for n in range(1, 10))
    sixty = "Acanthastrea pseudolongissima septentrionalis (uncertain id)"
    busy = tuple(
        DayWork(LANDED + timedelta(days=day), code, "40 mL/L 5 min" if code == "D1" else "inspect", vats)
        for day in range(3)
        for code, vats in (("D1", ("A1", "A2")), ("I1", ()))
    )
    return {
        "nine vats": sheet_content(vats=nine, announced=2700, days=45, kills=(palytoxin(), mains()), emergency=""),
        "forty boxes": sheet_content(boxes=tuple(str(n) for n in range(1, 41))),
        "long names": sheet_content(name=sixty, supplier=sixty, common_name=sixty, batch="KT-26-031-04-second-half",
                                    boxes=(sixty,), vats=(VatShare(sixty, 240, sixty, sixty),)),
        "eighty lines": sheet_content(onwards=tuple(f"Line {n} of the care that follows the day." for n in range(80))),
        "sixty steps": sheet_content(
            acclimation=replace(sheet_content().acclimation or Acclimation(""), steps=steps(60))
        ),
        "a busy week": sheet_content(vats=nine[:3], work=busy, days=60),
        "fish that move": sheet_content(
            vats=nine[:1],
            kinds=(WorkKind("M1", "transfer", "Move fish to a dry-disinfected vat"),),
            work=tuple(
                DayWork(LANDED + timedelta(days=3 * k + 3), "M1", f"A{1 + k % 2}▸A{2 - k % 2}", (), f"A{2 - k % 2}")
                for k in range(4)
            ),
        ),
        "bare": SheetContent("Farm", "B-1", "Tridacna sp.", 1, ""),
    }  # fmt: skip


def picture(red: int, size: tuple[int, int] = (640, 480)) -> bytes:
    """A plain JPEG."""
    buffer = io.BytesIO()
    Image.new("RGB", size, (red, 120, 140)).save(buffer, "JPEG")
    return buffer.getvalue()


def claim_content(lines: int = 5, **changes: object) -> ClaimContent:
    """A claim of some lines."""
    rows = tuple(
        ClaimRow(
            str(n), "Tridacna maxima" if n % 2 else LONG_NAME, 100, 6, 3, 1, 0, "3", 3, 7, "11.50", "80.50", str(n), 9.1, 10.0
        )
        for n in range(1, lines + 1)
    )  # fmt: skip
    totals = ClaimTotals(
        100 * lines + 40, 6 * lines, 3 * lines, lines, 0, 3 * lines + 1, 3 * lines, 7 * lines, f"{80.5 * lines:.2f}",
        93 * lines + 40, 90 * lines + 40, 0, 0, 9.1, 10.0, f"Line {lines + 1}", 40, "1",
    )  # fmt: skip
    values: dict[str, object] = {
        "number": "KT-26-031 claim",
        "claimant": "Ångström Lagoon Farm\n1 Invented Quay\n00000 Nowhere",
        "supplier": "Χταπόδι Reef Nursery\n2 Made-up Pier\n00000 Elsewhere",
        "shipment": "KT-26-031",
        "rows": rows,
        "totals": totals,
        "version": 2,
        "replaces": "replaces 1",
        "asked": f"{80.5 * lines:.2f} EUR",
        "answer_by": "Tue 10 Mar 2026",
        "invoice": "INV 26-44",
        "waybill": "000-1234 5675",
        "order": "26-118",
        "landed": "Tue 3 Mar 2026 09:40",
        "opened": "Tue 3 Mar 2026 11:05",
        "counted": "Tue 3 Mar 2026 15:30",
        "deadline": "Wed 4 Mar 2026 09:40",
        "currency": "EUR",
        "daa_deadline": "Fri 6 Mar 2026 09:40",
        "terms": "3 % allowance per line on animals received. Claim within 24 h of receipt.",
        "check": f"{6 * lines} DOA + {3 * lines} DAA + {lines} missing + 0 wrong − {3 * lines} used = {7 * lines} claimable.",
        "evidence": (
            Evidence("Sealed bags with labels, photo", True, "3 Mar 11:04", "9f86d081884c7d659a2feaa0c55ad015" * 2),
            Evidence(
                "All dead of line 1 on light ground with card, photo", True, "3 Mar 14:10", "60303ae22b998861" * 4
            ),
            Evidence("Specimens kept frozen for 14 days", held=False),
        ),
        "water": (BagReading("box 3, bag 2", "3 Mar 11:12", "22.4 °C", "33.1 PSU", "6.71 NBS", "4.2 mg/L as N"),),
        "statement": "We declare that the counts above were made by two people at the opening of the bags.",
        "counted_by": "Mira Sandholm",
        "counts": (BoxCount("1", "Tridacna maxima", "50", 4, 1, 0, "3 Mar 11:20", "Mira Sandholm"),),
        "heads": (
            ClaimHead("Dead, beyond the allowance", 9 * lines, 6 * lines, f"{69 * lines:.2f}"),
            ClaimHead("Missing", lines, lines, f"{11.5 * lines:.2f}"),
        ),
        "versions": (
            ClaimVersion(1, "Wed 4 Mar 2026 09:40", 6 * lines, "70.00 EUR", "frozen"),
            ClaimVersion(2, "Thu 5 Mar 2026 18:00", 7 * lines, "90.00 EUR", "counted after the terms ended"),
        ),
        "steps": (ClaimStep("sent", "Tue 3 Mar 2026 16:05", "Mira Sandholm", "1", "", "by mail with photos"),),
        "specimens": (
            Specimens("Tridacna maxima", "INV-0001", "1500 NAR", 100 * lines, 99 * lines, 9 * lines, 90 * lines, 0),
            Specimens(LONG_NAME, "", "", 40, 40, 1, 39, 0, "no permit number on the packing list"),
        ),
    }
    values.update(changes)
    return ClaimContent(**values)  # type: ignore[arg-type]


def plan_content(vats: int = 6, days: int = 28) -> PlanContent:
    """Two systems of vats with present, fallow and arriving batches, one line short."""

    def vat(n: int) -> PlanVat:
        bars = (
            PlanBar(f"OLD-{n}", 40 + n, -3, 2 + n % 3, "present", 55.0, "bench"),
            PlanBar("", 0, 2 + n % 3, 4 + n % 3, "fallow"),
            PlanBar(f"KT-26-031-{n:02d}", 60 + n, 4 + n % 3, 24, "arriving", 70.0 + n, "bench", "quarantine"),
            PlanBar(f"KT-26-031-{n + 20:02d}", 12, 6 + n % 3, 9 + n % 3, "arriving", 91.0, "ammonia", "quarantine"),
        )
        return PlanVat(f"Q{n}", bars, "0.72 m² bench")

    start = [f"{1 + d % 31} Mar" for d in range(days)]
    return PlanContent(
        "Ångström Lagoon Farm", "KT-26-031", tuple(start),
        (
            PlanSystem("Quarantine A", tuple(vat(n) for n in range(1, vats + 1)), "25.0 °C · 34.5 PSU"),
            PlanSystem("Quarantine B", tuple(vat(n) for n in range(vats + 1, 2 * vats + 1))),
        ),
        900, 860, "proposed · optimal",
        (PlanMove("OLD-1", 41, "Q1", "G4", "3 Mar"),),
        (PlanShort("KT-26-031-09", LONG_NAME, 40, "bench in Quarantine B: 0.31 m² short from 5 to 19 Mar"),),
        (PlanRelief("Clear vat Q7 by 5 Mar", "0.72 m² bench for 14 days", "1 move of 47 animals", 40),),
    )  # fmt: skip


def runsheet_content(boxes: int = 14) -> RunSheetContent:
    """A day of three stations."""
    stations = tuple(
        RunStation(
            f"Station {s}", "Mira, Oskar",
            tuple(
                bar
                for k in range(boxes // 3)
                for bar in (
                    RunBar(11 + k * 0.8, 11.4 + k * 0.8, f"box {3 * k + s}", str(3 * k + s), "open"),
                    RunBar(11.4 + k * 0.8, 12.4 + k * 0.8, f"box {3 * k + s} drip", str(3 * k + s), "acclimate"),
                    RunBar(12.4 + k * 0.8, 12.6 + k * 0.8, f"box {3 * k + s} dip", str(3 * k + s), "dip"),
                )
            ),
        )
        for s in range(1, 4)
    )  # fmt: skip
    rows = tuple(
        RunBox(n, str(n), f"KT-26-031-{n:02d}", LONG_NAME if n == 3 else "Tridacna maxima", f"1{n % 3}:20", 19.0 + n,
               f"Station {n % 3 + 1}", "drip, growing volume", f"Q{n}", 60, "15:40", "36 h limit" if n == 2 else "")
        for n in range(1, boxes + 1)
    )  # fmt: skip
    return RunSheetContent(
        "Ångström Lagoon Farm", "KT-26-031", "Tuesday 3 March 2026", 10, 19, stations, rows,
        (RunWater("10:30", "drip for boxes 1 to 6", "430 L", "15.6 kg", "25.0 °C"),), "09:40", "17:50",
        "Χταπόδι Reef Nursery", ("Zoanthids in box 7: gloves, goggles or face shield, keep wet.",),
        "Emergency number 000",
    )  # fmt: skip


def label_contents(n: int = 23) -> list[LabelContent]:
    """Vat and box labels in turn, some with the longest name."""
    return [
        LabelContent(
            f"Q{k}" if k % 3 else f"KT-26-031 box {k}",
            ("Tridacna maxima" if k % 2 else LONG_NAME, "140 · Quarantine B · 3 Mar – 14 Apr", "Χταπόδι Reef Nursery"),
            f"http://192.168.4.20:8080/v/Q{k}",
        )
        for k in range(1, n + 1)
    ]


def checklist_content(n: int = 8) -> ChecklistContent:
    """A drip of `n` steps."""
    acclimation = replace(sheet_content().acclimation or Acclimation("drip"), steps=steps(n))
    return ChecklistContent(
        "Ångström Lagoon Farm", "Station 2", "KT-26-031-04", "Tridacna maxima", acclimation, "Q3", 140, "3 Mar 2026",
        "11:20", "3, 4", ("Cover cuts. Wear long gloves.",), "http://192.168.4.20:8080/c/KT-26-031-04",
    )  # fmt: skip


def round_content(vats: int = 4) -> RoundContent:
    """Two systems, clean then under quarantine."""
    sting = Danger("stings", "Stings: gloves", "", "Stings: gloves")
    due = RoundDue("dip", "16:00 Hydrogen peroxide", "40 mL/L † · 5 min · gloves, goggles · bath water: waste drain")

    def vat(n: int) -> RoundVat:
        lots = (
            RoundLot(f"KT-26-031-{n:02d}", LONG_NAME, 133 + n, "day 12", (due,) if n % 2 else ()),
            RoundLot(f"KT-26-030-{n:02d}", "Tridacna maxima", 20, "day 30"),
        )
        return RoundVat(f"Q{n}", lots, (palytoxin(), sting, None)[n % 3])

    stops = (
        RoundStop("Grow-out A", "released", tuple(vat(n) for n in range(1, vats + 1)), "Clean hands, dry nets"),
        RoundStop(
            "Quarantine B", "flatworm found 12 Mar", tuple(vat(n) for n in range(vats + 1, 2 * vats + 1)), "New gloves"
        ),
    )
    return RoundContent(
        "Ångström Lagoon Farm", "Saturday 14 March 2026", stops, "Mira Sandholm", "07:30–17:30",
        "http://192.168.4.20:8080/", "printed Sat 14 Mar 06:40", (palytoxin(), mains()),
        "Cover cuts. Wear long gloves.", "000",
    )  # fmt: skip


def log_content(rows: int = 9) -> DipLogContent:
    """Dips and inspections in turn, the first done."""
    caution = "Hydrogen peroxide: goggles, gloves, dilute into water."
    logged = tuple(
        DipLogRow(row, f"Q{n}", "KT-26-031-04", 140, "Done Thu 5 Mar 10:12 by Mira" if n == 0 else "", n == 0,
                  "nothing noted" if n == 0 else "", "waste drain")
        for n, row in enumerate(work(rows))
    )  # fmt: skip
    return DipLogContent(
        "Ångström Lagoon Farm", "3 to 31 March 2026", logged, (caution,), (mains(),), "000", "ledger of now"
    )


def history_content(events: int = 28) -> HistoryContent:
    """A month of single deaths."""
    return HistoryContent(
        "Ångström Lagoon Farm",
        "KT-26-031-04",
        "Tridacna maxima",
        tuple(
            HistoryEvent(f"{3 + n} Mar 10:12", "Dead found", "Mira", 1, "Q3", "dead", "" if n % 4 else "gaping")
            for n in range(events)
        ),
        (("Announced", 240), ("DOA", 9), ("Missing", 1), ("First 7 days", 8), ("Alive now", 205)),
        (("Supplier", "Χταπόδι Reef Nursery"), ("Landed", "3 Mar 2026 09:40")),
        tuple(SurvivalPoint(day, 1 - 0.01 * day, 1 - 0.015 * day, 1 - 0.005 * day) for day in range(0, 30, 2)),
        30,
        "95 % pointwise",
        "in quarantine",
    )


def supplier_content(rows: int = 2) -> SupplierContent:
    """Suppliers with and without a rate on arrival."""
    known = SupplierRow("Χταπόδι Reef Nursery", 6, 2310, Rate(3.4, 2.7, 4.3), Rate(6.1, 5.0, 7.4), "2 sent, 1 settled")
    new = SupplierRow("Nowhere Lagoon", 1, 40, None, Rate(2.5, 0.3, 9.0))
    listed = tuple(known if n % 2 == 0 else new for n in range(rows))
    return SupplierContent("Ångström Lagoon Farm", "January to March 2026", listed, "Rates shrunk towards the mean.")


def sampling_content(n: int = 56) -> SamplingContent:
    """Animals drawn from a vat, and three from a box."""
    places = (SamplePlace("Vat Q1", 400, tuple(range(1, 7 * (n - 3), 7))), SamplePlace("Box 12", 1203, (5, 99, 1000)))
    return SamplingContent(
        "Ångström Lagoon Farm",
        "KT-26-031-04",
        LONG_NAME,
        "Tue 14 Apr 2026",
        n,
        1603,
        places,
        detail="4–6 cm",
        address="https://reef.example/n#KT-26-031-04",
        draw_words="april, by Mira Sandholm",
        proves=("All clean: at most 80 carry it.", "Confidence that fewer carry it than: 5 %: 95.1 %."),
        cautions=("Cover cuts. Wear long gloves.",),
    )


def every_form(paper: str) -> dict[str, bytes]:
    """Each form once, full enough to turn a page where it can."""
    return {
        "sheet": forms.sheet(sheet_content(), paper),
        "claim": forms.claim(claim_content(30, photos=(Photo("dead of line 1", picture(90)),)), paper),
        "checklist": forms.checklist([checklist_content(20)], paper),
        "runsheet": forms.runsheet(runsheet_content(30), paper),
        "plan": forms.plan(plan_content(8), paper),
        "round": forms.round_sheet(round_content(10), paper),
        "log": forms.dip_log(log_content(30), paper),
        "history": forms.history(history_content(60), paper),
        "supplier": forms.supplier_report(supplier_content(60), paper),
        "season": forms.season(season_paper(), paper),
        "capacity": forms.capacity(capacity_paper(), paper),
        "sampling": forms.sampling_list(sampling_content(), paper),
    }
