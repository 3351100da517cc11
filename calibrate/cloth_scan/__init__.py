"""From a photo to the cloth that lies on the table: outline, holes, flaws, the grain's direction.

After detection and a calibration, beside the solver: the photo's corners tell how the camera sees
the table (`view`), the photo is laid out flat in millimetres (`flat`), the cloth is told from the
table by colour (`apart`), its edge is followed to a fraction of a camera pixel (`edges`), and `scan`
puts it together; `picture` shows it.
"""
