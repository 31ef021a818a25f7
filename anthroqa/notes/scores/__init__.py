"""What is to be known beside figures, odd readings and marks."""
