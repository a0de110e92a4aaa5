"""How safely and how exactly takes are recorded."""
