"""What runs on the cell's own computer: one file that needs Python's standard library and nothing of this package."""
