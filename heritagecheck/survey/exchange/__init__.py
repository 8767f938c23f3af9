"""A survey in and out: CSV tables, data package, workbook."""
