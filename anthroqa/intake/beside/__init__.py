"""The tables beside the readings: corrections, a second entry, true values, known loads."""
