"""What the farm expects: the cost card, its range, its spreadsheet. Takes plain values, no rows."""
