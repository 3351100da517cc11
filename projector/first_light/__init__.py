"""First light: no calibration for this display yet, so she is led through one on the table."""
