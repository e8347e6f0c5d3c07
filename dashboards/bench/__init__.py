"""What the pages at the bench are made of: a person, an open book, forms that lose nothing."""
