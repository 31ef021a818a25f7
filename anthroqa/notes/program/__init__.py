"""What is to be known of staff over many sessions and of routine records."""
