"""What was written: steps and units, the grammar of readings, and the slips of writing."""
