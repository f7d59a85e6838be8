"""One step a file, each with the one that it follows."""
