"""What can go wrong in the dashboard, beside what ``daemon.api.errors`` tells.

DashboardError
└── OrderTooLong   more was sent than an order can hold
"""


class DashboardError(Exception):
    """The root of this folder's exceptions."""


class OrderTooLong(DashboardError):
    """An order's body is longer than ``most`` bytes."""

    def __init__(self, most: int) -> None:
        self.most = most
        super().__init__(f"longer than {most} bytes; an order is a short text")
