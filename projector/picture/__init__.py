"""The picture: what is drawn for a state, in millimetres, through the lens, in pixels."""
