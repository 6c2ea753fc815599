"""How the tables of a record came about, one step a module."""
