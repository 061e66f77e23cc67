"""Where the light lands."""
