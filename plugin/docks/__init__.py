"""Panels beside the map. Each is a QDockWidget in a module of its own, named in `registry.PANELS`."""
