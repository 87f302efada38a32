"""The science (wood), its sentences (words), the shop's book (records), and all of it joined (watch)."""
