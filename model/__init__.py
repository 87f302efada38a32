"""What the wood does: the science (wood), the shop's book (records), and the two joined (watch)."""
