"""From results to what may have gone into the tube: a posterior over causes. Needs numpy; nothing is loaded before."""
