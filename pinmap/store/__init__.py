"""SQLModel tables, engine, queries, rows to core records and back."""
