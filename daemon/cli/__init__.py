"""The command line: one command, keysoak."""
