"""The words beside figures, odd readings and marks."""
