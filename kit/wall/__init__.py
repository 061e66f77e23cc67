"""What the light meets: surfaces, the front, cloth, and which points of it are seen or hidden."""
