"""What pages and commands ask of the book: plain frozen answers in SI."""
