"""The starting workbook: what was there before the book began, filled in by the farm and read."""
