"""What leaves the lens: the machine, its place, its beam, its colours."""
