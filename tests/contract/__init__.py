"""The same tests on every database that can hold a record."""
