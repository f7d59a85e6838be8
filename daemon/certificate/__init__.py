"""What goes back with a unit: its certificate, as a PDF and as a page that needs nothing else."""
