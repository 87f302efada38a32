"""The moisture inside every body along its air, its margins, and the outlook from there."""
