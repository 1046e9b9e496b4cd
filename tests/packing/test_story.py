"""Whole lists as they come: read, understood, asked about, answered, turned into batches."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from openpyxl.worksheet.worksheet import Worksheet

from intake.errors import BadInput
from tests.packing.books import CLEAN, csv_of, keys, ods_of, understood, xlsx_of

ROWS: list[list[object]] = [
    ["Box No", "Scientific name", "Size (cm)", "Qty", "Unit price (EUR)"],
    [1, "Tridacna maxima", "4-5", 120, 4.5],
    [2, "Tridacna crocea", "3-4", 60, 3.85],
    ["3, 4", "Acropora tenuis", 6, 10, 12],
    ["", "Total", "", 190, ""],
]


@pytest.mark.parametrize(
    "data",
    [csv_of(ROWS), csv_of(ROWS, "\t"), csv_of(ROWS, ";"), xlsx_of(ROWS), ods_of(ROWS)],
    ids=["comma", "tab", "semicolon", "xlsx", "ods"],
)
def test_a_clean_list_reads_the_same_from_every_kind_of_file(data: bytes) -> None:
    """The same lines whatever the supplier saved; nothing is asked of a list that leaves no doubt."""
    shipment = understood(data)
    assert shipment.ready, (keys(shipment), shipment.problems)
    assert [(b.id, b.name, b.group, b.size_mm, b.announced, b.boxes, b.unit_price) for b in shipment.batches()] == [
        ("S1-01", "Tridacna maxima", "clam_medium", 50.0, 120, ("1",), Decimal("4.5")),
        ("S1-02", "Tridacna crocea", "clam_burrowing", 40.0, 60, ("2",), Decimal("3.85")),
        ("S1-03", "Acropora tenuis", "stony_branching_acropora", 60.0, 10, ("3", "4"), Decimal(12)),
    ]
    assert shipment.totals.stated == shipment.totals.animals == 190
    assert shipment.lines[0].size_min_mm == 40.0


def test_a_messy_semicolon_list_with_commas_is_read_by_its_own_arithmetic() -> None:
    """Title rows, decimal commas, '1.250' pieces, money signs, subtotal and total, two answers needed."""
    text = """Packing list 0417 (invented);;;;;;;
Country of origin: Indonesia;;;;;;;
;;;;;;;
Box;Scientific name;Common name;Size;Qty;Unit price;Amount;Packed
1-3;Tridacna maxima;maxima clam;4-5 cm;1.250;4,50;5.625,00;03/04/2026 14:30
4;Tridacna crocea;;3-4 cm;60;€ 3,85;231,00;03/04/2026 15:00
;Subtotal;;;1.310;;5.856,00;
5;T. squamosa;;2.5 in;30;5;150;04/04/2026
5;Tridacna sp.;;120 mm;10;5;50;04/04/2026
;TOTAL;;;1.350;;6.056,00;
"""
    asked = understood(text)
    assert sorted(keys(asked)) == ["dates", "name:t-squamosa"]
    with pytest.raises(BadInput) as refused:
        asked.batches()
    assert len(refused.value.findings) == 2

    shipment = understood(text, {"dates": "dmy", "name:t-squamosa": "Tridacna squamosa"})
    assert shipment.ready
    assert [line.count for line in shipment.lines] == [1250, 60, 30, 10]
    assert [line.group for line in shipment.lines] == ["clam_medium", "clam_burrowing", "clam_medium", "clam_large"]
    assert shipment.lines[0].boxes == ("1", "2", "3")
    assert shipment.lines[0].packed_at == datetime(2026, 4, 3, 7, 30, tzinfo=UTC), "14:30 in Jakarta is 07:30 UTC"
    assert {line.origin for line in shipment.lines} == {"Indonesia"}
    assert shipment.totals.value == {"EUR": Decimal("6056.00")}
    assert shipment.totals.stated == 1350
    assert shipment.lines[0].raw["E5"] == "1.250", "the cell as it stood is kept for claims"


def test_a_two_line_header_with_merged_cells_is_read_in_xlsx_and_ods() -> None:
    """'Description' and 'Price' over two columns each: the lower line says which is which; a merged box fills down."""
    rows: list[list[object]] = [
        ["Lagoon exports (invented)"],
        [],
        ["Box", "Description", "", "Size", "Quantity", "Price (EUR)", ""],
        ["no.", "Scientific", "Common", "cm", "pcs", "unit", "total"],
        ["A1", "Tridacna maxima", "maxima clam", "4-5", 120, 4.5, 540],
        ["", "Tridacna gigas", "", "8", 10, 9, 90],
        ["A2", "Zoanthus sp.", "zoanthid", "5", 30, 2, 60],
    ]

    def merge(sheet: Worksheet) -> None:
        for cells in ("B3:C3", "F3:G3", "A5:A6"):
            sheet.merge_cells(cells)

    spans = {(3, 2): (1, 2), (3, 6): (1, 2), (5, 1): (2, 1)}
    for data in (xlsx_of(rows, merge), ods_of(rows, spans)):
        shipment = understood(data)
        assert shipment.ready, (keys(shipment), shipment.problems, shipment.map)
        assert [line.boxes for line in shipment.lines] == [("A1",), ("A1",), ("A2",)]
        assert [line.size_max_mm for line in shipment.lines] == [50.0, 80.0, 50.0], "the unit stands in the header"
        assert [line.unit_price for line in shipment.lines] == [Decimal("4.5"), Decimal(9), Decimal(2)]


def test_merged_boxes_fill_down_in_each_of_two_tables_side_by_side() -> None:
    """The second table's merge is its own: a merged box belongs to both its rows, and nobody is asked."""
    head: list[object] = ["Box", "Species", "Size (cm)", "Quantity"]
    rows: list[list[object]] = [
        [*head, "", *head],
        ["A1", "Tridacna maxima", "4", 12, "", "B1", "Tridacna crocea", "4", 7],
        ["", "Tridacna gigas", "8", 3, "", "", "Hippopus hippopus", "8", 5],
        ["A2", "Tridacna derasa", "5", 2, "", "B2", "Tridacna squamosa", "9", 1],
    ]

    def merge(sheet: Worksheet) -> None:
        sheet.merge_cells("A2:A3")
        sheet.merge_cells("F2:F3")

    shipment = understood(xlsx_of(rows, merge))
    assert shipment.ready, (keys(shipment), shipment.problems)
    assert [(*line.boxes, line.count) for line in shipment.lines] == [
        ("A1", 12), ("A1", 3), ("A2", 2), ("B1", 7), ("B1", 5), ("B2", 1)
    ]  # fmt: skip


def test_an_empty_box_cell_that_is_not_merged_is_asked_about() -> None:
    """An empty cell is not 'same as above' until the user says so."""
    text = "Box,Species,Size (cm),Qty\n1,Tridacna maxima,4,10\n,Tridacna gigas,5,10\n2,Hippopus hippopus,6,10\n"
    asked = understood(text)
    assert keys(asked) == ["empty-boxes"]
    assert [line.boxes for line in understood(text, {"empty-boxes": "same-as-above"}).lines] == [("1",), ("1",), ("2",)]
    assert [line.boxes for line in understood(text, {"empty-boxes": "unknown"}).lines] == [("1",), (), ("2",)]


def test_the_map_is_remembered_and_stops_when_the_header_changes() -> None:
    """A remembered map is used again on the same header; a changed header is asked about, not read by the old map."""
    first = understood("Species,Size,Qty\nTridacna maxima,4,10\n", {"size-unit": "cm"})
    assert first.ready
    kept = type(first.map).model_validate_json(first.map.model_dump_json())
    again = understood("Species,Size,Qty\nTridacna gigas,9,5\n", remembered=kept)
    assert again.ready
    assert again.lines[0].size_max_mm == 90.0
    changed = understood("Species,Size,Ordered,Qty\nTridacna gigas,9 cm,5,4\n", remembered=kept)
    assert keys(changed) == ["columns"]
    assert "Ordered" in changed.questions[0].what
    settled = understood(
        "Species,Size,Ordered,Qty\nTridacna gigas,9 cm,5,4\n", {"columns": "proposed"}, remembered=kept
    )
    assert settled.ready
    assert settled.lines[0].count == 4


def test_columns_named_by_the_user_win() -> None:
    """``--columns`` by letter and by heading, over headings nobody could know."""
    text = "Foo,Bar,Baz,Qux\nx,Tridacna maxima,4 cm,10\n"
    shipment = understood(text, {"columns": "name=B,size=Baz,count=Qux"})
    assert shipment.ready, (keys(shipment), shipment.problems)
    assert shipment.lines[0].count == 10
    with pytest.raises(BadInput, match="Foo"):
        understood(text, {"columns": "name=Nowhere,count=D"})
    with pytest.raises(BadInput, match="colour"):
        understood(text, {"columns": "colour=B"})


def test_the_answer_for_machines_and_the_table_for_people() -> None:
    """``--json`` holds everything and serialises; the table fits 80 columns and marks what is open."""
    shipment = understood(CLEAN.replace("Acropora tenuis", "Qwertia asdfia"))
    data = json.loads(json.dumps(shipment.as_dict()))
    assert data["ready"] is False
    assert data["questions"][0]["how"].startswith('--answer "name:qwertia-asdfia=')
    assert data["sha256"] == shipment.sha256
    assert data["lines"][0]["raw"]["B2"] == "Tridacna maxima"
    rows = shipment.table()
    assert max(len(row) for row in rows) <= 80
    assert any("Qwertia" in row and " ? " in row for row in rows)


def test_facts_above_the_table_hold_for_all_lines_unless_a_line_says_otherwise() -> None:
    """Permit and origin written once over the table."""
    text = (
        "Export permit no: XX-0001,,,\nOrigin,Fiji,,\n\nSpecies,Size (cm),Qty,Country of origin\n"
        "Tridacna maxima,4,10,\nTridacna gigas,5,10,Tonga\n"
    )
    lines = understood(text).lines
    assert [(line.permit, line.origin) for line in lines] == [("XX-0001", "Fiji"), ("XX-0001", "Tonga")]
