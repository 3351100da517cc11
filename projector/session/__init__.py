"""A sitting at the table: her state as a value, the actions that change it, and what they say."""
