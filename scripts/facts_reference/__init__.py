"""The parts of docs/reference/facts.md, a module each for what it renders."""
