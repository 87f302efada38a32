"""The pages, one file each: a layout built from the book, and thin callbacks; `page_registry` finds them."""
