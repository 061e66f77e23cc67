"""The computed answers of the pages."""
