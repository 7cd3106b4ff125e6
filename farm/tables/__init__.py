"""Everything as open tables, out and back: a folder of CSV files with a data dictionary."""
