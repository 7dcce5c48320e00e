"""Words and tables of a period, from the records."""
