"""Panels, units and controllers, and what hangs on what."""
