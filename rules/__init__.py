"""What is the pure core? Readings, limits, acts and `now` go in; alarms and decisions come out."""
