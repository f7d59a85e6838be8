"""What is kept: every frame in SQLite, jobs and findings in a catalog."""

from daemon.store.store import Reader, Store

__all__ = ["Reader", "Store"]
