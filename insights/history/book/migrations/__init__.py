"""The book's schema, one step a version."""
