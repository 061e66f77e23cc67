"""Where machines stand, what may be shown where, who sees it, who is in the beam."""
