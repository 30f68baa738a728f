"""What is stored."""
