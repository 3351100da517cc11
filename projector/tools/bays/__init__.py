"""Bays: a lay larger than the beam, traced in parts with the cloth moved between."""
