"""The shop’s questions: is a stack ready, is today a day to glue up."""
