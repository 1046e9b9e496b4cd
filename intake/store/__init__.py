"""The disk: the books in SQLite or PostgreSQL, appended to in one transaction per act, and their backups."""

from intake.store.backup import restore, verify
from intake.store.books import Books, Unit

__all__ = ["Books", "Unit", "restore", "verify"]
