"""Benchmarks of pages use the browser and the served app of the browser tests."""

from tests.browser.conftest import browser_type_launch_args, served

__all__ = ["browser_type_launch_args", "served"]
