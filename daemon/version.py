"""Which Keysoak this is."""

from importlib.metadata import version

VERSION = version("keysoak")
