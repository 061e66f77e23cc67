"""What photographs of a front say: its outline, its reflectance, the light on it."""
