"""How does a person see it and act on it? A process of its own that talks to the daemon's API."""
