"""What is seen: luminance, contrast, veil, colour, the look at night."""
