"""Questions asked of the book beside the running watch: delivery, validation, the record of fact."""
