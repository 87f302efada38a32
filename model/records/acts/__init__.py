"""What people write into the book, and how it is taken back."""
