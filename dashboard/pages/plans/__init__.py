"""Pages asked before a board is cut: plan and rehearsal."""
