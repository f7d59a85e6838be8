"""Which programs stand behind a page."""

import platform
from importlib.metadata import version

from daemon.api.client import Client
from daemon.api.errors import ApiError


def versions_of(client: Client) -> dict[str, str]:
    """Each part and its version; of a daemon that is silent, that it does not answer."""
    try:
        health = client.health()
        daemon = f"{health.version}, on {health.rack}"
    except ApiError as err:
        daemon = f"not known: {err.why}"
    return {
        "Keysoak, this page": version("keysoak"),
        "Keysoak, the daemon": daemon,
        "Python": platform.python_version(),
        "Dash": version("dash"),
        "Plotly": version("plotly"),
    }
