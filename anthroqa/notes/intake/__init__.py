"""What is wrong with what was written, typed or described, and what was passed over."""
