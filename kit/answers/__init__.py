"""The computed answers of the pages, and the lessons."""
