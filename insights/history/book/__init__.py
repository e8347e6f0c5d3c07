"""The job book: the workshop's own store of jobs, and of every change to them."""
