"""Tools: what takes the pointer for a while, one room each, behind one protocol."""
