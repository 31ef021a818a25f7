"""The trainer's screen while readings are entered."""
