"""What is kept: every frame in SQLite, jobs and findings in a catalog."""

from daemon.store.reader import Reader
from daemon.store.store import Store

__all__ = ["Reader", "Store"]
