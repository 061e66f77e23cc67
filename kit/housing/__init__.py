"""What keeps a machine alive outdoors: the window before its lens, heat and water in its box, a season, mains power."""
