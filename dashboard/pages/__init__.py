"""One page a module; each is a pure function from what the daemon says to a Dash layout."""
