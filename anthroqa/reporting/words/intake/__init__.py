"""The words of what is wrong with the data of a session."""
