"""Is it enough, when, and what to do about it."""
