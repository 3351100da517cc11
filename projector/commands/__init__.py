"""One module a command: parse, call, print. Heavy imports stand inside the functions."""
