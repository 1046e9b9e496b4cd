"""The ledger: what happened, written once and never changed, and the present folded out of it.

It opens no file (``store`` does) and derives no statistics (``report`` does).
"""

from intake.ledger.balance import balances, batch_from, batch_payload, batches, fold, parts_of, readings
from intake.ledger.boxes import BoxLoss, box_losses, in_boxes
from intake.ledger.conservation import Shortage, check, shortages
from intake.ledger.corrections import counter, latest, netted, standing
from intake.ledger.entries import Entry, Movement, Record, faults, is_vat, movements, records, vat_id, vat_place
from intake.ledger.present import ALWAYS, LATELY, LOOSE, READ_LATELY, Present, account, quarantine_since
from intake.ledger.streams import CARRIED, Stream, by_batch, stream_of

__all__ = [
    "ALWAYS",
    "CARRIED",
    "LATELY",
    "LOOSE",
    "READ_LATELY",
    "BoxLoss",
    "Entry",
    "Movement",
    "Present",
    "Record",
    "Shortage",
    "Stream",
    "account",
    "balances",
    "batch_from",
    "batch_payload",
    "batches",
    "box_losses",
    "by_batch",
    "check",
    "counter",
    "faults",
    "fold",
    "in_boxes",
    "is_vat",
    "latest",
    "movements",
    "netted",
    "parts_of",
    "quarantine_since",
    "readings",
    "records",
    "shortages",
    "standing",
    "stream_of",
    "vat_id",
    "vat_place",
]
