"""The record of specimens in a database: SQLite in a file, or PostgreSQL for several stations."""
