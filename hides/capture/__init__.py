"""From photos of a side on the floor to its outline, flaws and readings in millimetres."""
