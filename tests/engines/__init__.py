"""Engines that are not ours mark what is exported: `python -m tests.engines`."""
