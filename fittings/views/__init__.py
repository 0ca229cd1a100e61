"""Pages of the office, a module per subject."""
