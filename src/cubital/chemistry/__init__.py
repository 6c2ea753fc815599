"""Pure computation on facts: concentrations, citrate and its fill, vacuum and altitude, tubing. Opens nothing."""
