"""The panel of notebook 7, in which photos are marked. It stands on the kit, which knows nothing of it."""

from marking.panel import MarkPanel

__all__ = ["MarkPanel"]
