"""Pages for paper: the client sheet, the cut card and the job sheet, as PDF."""
