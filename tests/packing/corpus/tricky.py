"""Short invented lists with one trap each, and what is truly in them."""

from __future__ import annotations

from tests.packing.corpus.layouts import Case, Truth

MAXIMA, CROCEA = "Tridacna maxima", "Tridacna crocea"


def _plain(*counts: tuple[str, float, float, int]) -> tuple[Truth, ...]:
    return tuple(Truth(*one) for one in counts)


TWO = _plain((MAXIMA, 40, 50, 60), (CROCEA, 30, 40, 20))
ROWS = f"{MAXIMA},4-5,60\n{CROCEA},3-4,20\n"

CASES: dict[str, Case] = {
    "totals over the list": Case(f"Total pieces,80\nSpecies,Size cm,Qty\n{ROWS}".encode(), TWO),
    "a wrong total over the list": Case(
        f"Total pieces,90\nSpecies,Size cm,Qty\n{ROWS}".encode(), TWO, {"stated-animals": "trust-the-lines"}
    ),
    "carried and brought forward": Case(
        f"Species,Size cm,Qty\n{ROWS}Carried forward,,80\nSpecies,Size cm,Qty\nBrought forward,,80\nZoanthus sp.,3,30\n"
        "Total,,110\n".encode(),
        (*TWO, Truth("Zoanthus sp.", 30, 30, 30)),
    ),
    "totals of each box by number": Case(
        f"Item,Pcs\nBox 1 of 2,\n{MAXIMA} 4-5cm,60\nTotal box 1,60\nBox 2 of 2,\n{CROCEA} 3-4cm,20\nTotal box 2,20\n"
        "Total,80\n".encode(),
        (Truth(MAXIMA, 40, 50, 60, "1"), Truth(CROCEA, 30, 40, 20, "2")),
    ),
    "names over sizes": Case(
        f"Name,Size,Qty\n{MAXIMA},,\n,4-5 cm,60\n,5-6 cm,20\n{CROCEA},,\n,3-4 cm,30\n".encode(),
        _plain((MAXIMA, 40, 50, 60), (MAXIMA, 50, 60, 20), (CROCEA, 30, 40, 30)),
    ),
    "a permit for each part": Case(
        f"CITES Permit No. XX/001/2027,,\nSpecies,Size cm,Qty\n{MAXIMA},4-5,60\nCITES Permit No. XX/002/2027,,\n"
        f"{CROCEA},3-4,20\n".encode(),
        TWO,
    ),
    "smallest and largest size": Case(
        f"Species,Min size (cm),Max size (cm),Qty\n{MAXIMA},4,5,60\n{CROCEA},3,4,20\n".encode(), TWO
    ),
    "colors and their sum": Case(
        f"Species,Size cm,Blue,Green,Gold,Total\n{MAXIMA},4-5,10,45,5,60\n{CROCEA},3-4,18,,2,20\n".encode(), TWO
    ),
    "packed says how many": Case(f"Species,Size cm,Order,Packed\n{MAXIMA},4-5,70,60\n{CROCEA},3-4,20,20\n".encode(), TWO),
    "rock by weight": Case(
        f"Species,Size cm,Qty,Unit\n{MAXIMA},4-5,60,pc\nLive rock,,25,kg\n{CROCEA},3-4,20,pc\n".encode(), TWO
    ),
    "wild is no country": Case(f"Species,Size cm,Qty,Origin\n{MAXIMA},4-5,60,Wild\n{CROCEA},3-4,20,Wild\n".encode(), TWO),
    "a substitute": Case(
        f"Species,Size cm,Qty,Remarks\n{MAXIMA},4-5,60,\n{CROCEA},3-4,20,sub for another kind\n".encode(),
        TWO,
        {"says:sub-for": "shipped"},
    ),
    "a number without a heading": Case(
        f"Species,Size cm,,Qty\n{MAXIMA},4-5,3,60\n{CROCEA},3-4,7,20\n".encode(), TWO, {"unread-columns": "not-needed"}
    ),
    "three for four centimetres": Case(
        f"Species;Size;Qty\n{MAXIMA};4-5 cm;60\n{CROCEA};3/4 cm;20\n".encode(), TWO, {"size:3-4-cm": "3-4 cm"}
    ),
    "an unknown animal of three kinds": Case(
        f"Species,Size cm,Qty\n{MAXIMA},4-5,60\nInventia prima,3,5\nInventia altera,3,6\nInventia tertia,3,7\n".encode(),
        (
            Truth(MAXIMA, 40, 50, 60), Truth("Inventia prima", 30, 30, 5), Truth("Inventia altera", 30, 30, 6),
            Truth("Inventia tertia", 30, 30, 7),
        ),
        {"genus:inventia": "soft_leathery"},
    ),
    "something that is no animal": Case(
        f"Species,Size cm,Qty\n{MAXIMA},4-5,60\nWidget of the exporter,,2\n{CROCEA},3-4,20\n".encode(),
        TWO,
        {"name:widget-of-the-exporter": "not-an-animal", "size:widget-of-the-exporter": "1 cm"},
    ),
    "paid by the amount": Case(
        f"Species,Size cm,Qty,Price EUR,Amount\n{MAXIMA},4-5,60,5.00,270.00\n{CROCEA},3-4,20,4.00,80.00\n".encode(),
        (Truth(MAXIMA, 40, 50, 60, "", "4.50"), Truth(CROCEA, 30, 40, 20, "", "4.00")),
        {"amounts": "by-amount"},
    ),
}  # fmt: skip


def cases() -> dict[str, Case]:
    """Traps by name."""
    return {f"trap-{name.replace(' ', '-')}": case for name, case in CASES.items()}
