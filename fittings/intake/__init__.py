"""Orders that come as a file: a take-off in CSV or XLSX to orders, whole or not at all, and back to a file.

`delimited` and `workbook` read a file to a grid of texts, `matching` says which column means what, `checking` makes
orders of it and names every wrong cell; these know no database. `services` keep, correct and bring in.
"""
