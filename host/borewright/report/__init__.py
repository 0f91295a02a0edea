"""Pages from a record: what they say comes in as plain data, what goes out is a PDF. No database, clock or network."""
