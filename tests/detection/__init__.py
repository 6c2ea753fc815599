"""How well a contaminated tube is found: a clean open set, an independent generator, and published rules beside us."""
