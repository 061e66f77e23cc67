"""The light that is there already: sun, moon and sky at a place and time, lamps and strings."""
